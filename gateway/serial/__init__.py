"""A serial line and the machine at its end, in time: what arrives when, and what is lost."""
