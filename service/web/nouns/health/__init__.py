"""Probes and metrics: routes."""
