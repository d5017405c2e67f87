"""Streams as a client asks for them: TALK."""
