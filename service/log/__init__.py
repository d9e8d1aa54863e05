"""The append-only store: embedded server, schema, append and read."""
