"""Calls in: ports at which callers are taken, and whoever answers them."""
