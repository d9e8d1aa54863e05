"""Impacts: routes and the shapes of their answers."""
