"""Control and data connections: dialling, TLS, logging in, and the pool of logins."""
