"""Local folders as places: `file` targets -> entries, bytes, changes made whole; Linux only."""
