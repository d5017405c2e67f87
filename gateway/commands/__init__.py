"""One file a subcommand; the only place that knows argv, and the one that wires everything."""
