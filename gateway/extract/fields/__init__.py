"""value -> exactly as many printable characters as its field is wide; pure functions over frozen data."""
