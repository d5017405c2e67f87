"""[source.NAME] and everything in it -> Source."""
