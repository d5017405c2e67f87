"""HTTP and HTTPS: Call -> Fetched, and Target -> files, over HTTP/1.1 (RFC 9110, RFC 9112)."""
