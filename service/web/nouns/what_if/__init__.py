"""Questions: routes."""
