"""One module a table of the file: what tomllib read -> a checked part of the model, or mistakes."""
