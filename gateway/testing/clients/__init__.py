"""A client of a gateway, for tests: what it sends, the replies it reads, and a slow line in between."""
