"""Exchanges with far servers, kept in a folder and played again: what a gateway offline answers from."""
