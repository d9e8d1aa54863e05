"""Clock: routes."""
