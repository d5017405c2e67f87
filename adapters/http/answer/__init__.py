"""What an answer says, read from its header fields and bytes: pure, without I/O or a clock."""
