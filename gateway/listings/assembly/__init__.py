"""A task -> a program in assembly language."""
