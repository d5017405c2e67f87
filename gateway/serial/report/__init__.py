"""A run and the advice as tables and pictures; pure."""
