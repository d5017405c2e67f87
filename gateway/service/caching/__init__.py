"""Call -> Kept: one shared cache before all adapters, in memory and on disk (RFC 9111)."""
