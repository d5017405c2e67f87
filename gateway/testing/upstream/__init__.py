"""A far server on loopback, for tests: what it answers, how it fails, and what it was asked."""
