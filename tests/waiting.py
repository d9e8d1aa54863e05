"""Waiting for what another thread or process does."""

import time
from collections.abc import Callable


def wait_until(holds: Callable[[], bool], within_s: float = 60) -> None:
    """Ask again and again until it holds; fails where it does not come to that."""
    ends_s = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends_s, "it did not come to that"
        time.sleep(0.01)
