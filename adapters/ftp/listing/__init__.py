"""What an FTP server says of a folder -> entries: facts (RFC 3659) or the lines of LIST, all on bytes."""
