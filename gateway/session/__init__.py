"""One connection's conversation: requests to wishes and replies; pure."""
