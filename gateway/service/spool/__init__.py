"""Transfers from clients, kept safe on disk until they are where they belong."""
