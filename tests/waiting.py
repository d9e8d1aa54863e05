"""Waiting for what another thread or process does."""

import time
from collections.abc import Callable


def wait_until(
    holds: Callable[[], bool],
    otherwise: str = "it did not come to that",
    within_s: float = 60,
    every_s: float = 0.02,
) -> None:
    """Ask again and again until it holds; fails with `otherwise` if it takes longer."""
    ends_s = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends_s, otherwise
        time.sleep(every_s)
