"""Members: what they log in with, how often that may be wrong, and what clients have had of a day."""
