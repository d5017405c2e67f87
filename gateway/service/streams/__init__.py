"""Streams: calls to far servers, and what passes between them and a client."""
