"""A source or a ref, and what was typed -> the call to a far server."""
