"""headrace: a line-oriented gateway that brings just enough of a big network to a small machine."""

VERSION = "0.1.0"
