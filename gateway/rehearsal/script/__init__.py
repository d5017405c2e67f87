"""A script: its steps and patterns, read from text and written as text."""
