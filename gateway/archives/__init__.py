"""Recordings to and from the open formats of general tools: WARC (ISO 28500) both ways, HAR 1.2 in."""
