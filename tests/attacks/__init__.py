"""What somebody might try against the service, at full length and with figures.

    python -m tests.attacks            every attack
    python -m tests.attacks prices     one of them

A module here is one attack: `attack()` gives what it found, line by line. Short forms of each run
in the suite, which asserts that they fail.
"""
