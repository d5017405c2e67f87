"""Sockets -> conversations: what each client sends, what it is answered, and how quickly that goes out."""
