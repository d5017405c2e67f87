"""A source -> a complete client program for one kind of machine."""
