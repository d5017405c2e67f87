"""`headrace demo`: the demo site and a gateway on loopback, with a printed sample session."""
