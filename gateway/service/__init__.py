"""The only sockets and tasks: listeners, fetching through the cache, stores on disk, logs."""
