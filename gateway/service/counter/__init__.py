"""Counters of places: what carries their dialogue, and grants what it wishes."""
