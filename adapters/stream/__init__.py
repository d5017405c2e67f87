"""Open lines: raw TCP, TLS, telnet and UDP, behind the port adapters.streams."""
