"""Every key of the file: what it takes, its default, its meaning."""
