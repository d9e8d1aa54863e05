"""Core values as JSON values: pure, and plain dicts, for thousands of rows go out at a time."""
