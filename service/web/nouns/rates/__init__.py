"""Rates: routes and the shapes of their answers."""
