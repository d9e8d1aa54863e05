"""Counts in windows of time, in this process's memory.

The storage that the library has for it starts a thread for what has expired after nearly every
count, up to a hundred a second, and goes by a clock that can be set back.
"""

import threading
import time
from collections.abc import Callable

from limits.storage import Storage


class Windows(Storage):
    """For each key how often it was counted in a window, and when that is over.

    Above `keys_max` keys those whose windows are over are forgotten.
    Instants are those of the monotonic clock, in seconds.
    """

    STORAGE_SCHEME = None
    base_exceptions = ()

    def __init__(self, clock_s: Callable[[], float] | None = None, keys_max: int = 10_000) -> None:
        super().__init__()
        self._clock_s = clock_s or time.monotonic
        self._keys_max = keys_max
        self._lock = threading.Lock()
        self._counts: dict[str, tuple[int, float]] = {}

    def incr(self, key: str, expiry: int, amount: int = 1) -> int:
        """Count on, in a new window of `expiry` seconds where the last is over; gives the count."""
        with self._lock:
            now_s = self._clock_s()
            count, ends_s = self._counts.get(key, (0, now_s))
            if ends_s <= now_s:
                count, ends_s = 0, now_s + expiry
            self._counts[key] = count + amount, ends_s
            if len(self._counts) > self._keys_max:
                self._counts = {
                    name: (number, until_s)
                    for name, (number, until_s) in self._counts.items()
                    if until_s > now_s
                }
            return count + amount

    def get(self, key: str) -> int:
        """How often a key was counted in the window that is not over."""
        count, ends_s = self._counts.get(key, (0, 0.0))
        return count if ends_s > self._clock_s() else 0

    def get_expiry(self, key: str) -> float:
        """When the key's window is over; now, if it has none."""
        now_s = self._clock_s()
        _, ends_s = self._counts.get(key, (0, now_s))
        return max(ends_s, now_s)

    def check(self) -> bool:
        """Memory is always there."""
        return True

    def reset(self) -> int:
        """Forget all counts; gives how many keys had one."""
        with self._lock:
            forgotten = len(self._counts)
            self._counts = {}
            return forgotten

    def clear(self, key: str) -> None:
        """Forget the count of a key."""
        with self._lock:
            self._counts.pop(key, None)
