"""Read tables that follow from the log: caught up after commits, rebuilt to the same rows."""
