"""A raw stream between a client and a far server: what is made of its bytes on both ways, without I/O."""
