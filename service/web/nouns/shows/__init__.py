"""Shows: routes and the shapes of their answers."""
