"""FTP and FTPS: places and refs -> entries, bytes and changes, over logins that are kept and reused."""
