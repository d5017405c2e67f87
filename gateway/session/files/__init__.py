"""Requests about documents and folders, whatever protocol they are reached by; pure."""
