"""What the town can be read from and written to besides HTTP: FTP, WebDAV, a folder on disk."""
