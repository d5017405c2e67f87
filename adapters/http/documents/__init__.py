"""HTTP as files: Target -> what is there, its bytes, a listing, or a change (RFC 9110)."""
