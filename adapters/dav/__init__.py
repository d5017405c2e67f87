"""WebDAV (RFC 4918): Target -> entries, bytes, or a change made whole."""
