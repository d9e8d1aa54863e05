"""Quotations: routes."""
