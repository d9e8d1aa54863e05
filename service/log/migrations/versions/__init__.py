"""The revisions, in order."""
