"""WARC files (ISO 28500), written and read with warcio."""
