"""A process that runs for years: what it may have, what it says of itself, and how it is told of changes."""
