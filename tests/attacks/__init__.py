"""Attacks on the service in their long form: what each does, and what comes of it, in figures.

`python -m tests.attacks NAME` runs one. The short form of each is a test beside what it attacks.
"""
