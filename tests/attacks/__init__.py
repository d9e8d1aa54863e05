"""Attacks on the service in their long form: what each does, and what comes of it, in figures.

`python -m tests.attacks NAME` runs one, and fails if it comes through or a goal is missed. The
short form of each is a test beside what it attacks; `soak`, which measures an hour, has none.
"""
