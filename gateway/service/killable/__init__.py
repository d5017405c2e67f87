"""Work that may take long, or run away: done by a process that can be killed."""
