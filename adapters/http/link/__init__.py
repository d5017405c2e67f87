"""The way to a far server: gate, pool, checked address, TLS, bytes."""
