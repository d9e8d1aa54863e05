"""Replay: routes, the shapes of their answers and the arguments they take."""
