"""Checkpoints: routes."""
