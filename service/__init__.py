"""Retake Ledger: hand-offs, notes and retakes of an animated series, and what they do to dates."""
