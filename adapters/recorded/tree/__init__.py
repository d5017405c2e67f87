"""How recordings lie on disk: names, the text of a TOML file, and writing that is whole or not at all."""
