"""The file's text: where everything stands in it, and how its mistakes are told."""
