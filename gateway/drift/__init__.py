"""A document as it was recorded, and as it is now -> what became of a source's fields."""
