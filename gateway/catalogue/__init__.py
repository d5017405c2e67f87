"""The file that names sources and places: TOML text -> Catalogue, or every mistake in it."""
