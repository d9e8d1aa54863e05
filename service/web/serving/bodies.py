"""How much of large bodies a worker holds at a time."""

import asyncio
from typing import Any


class Bodies:
    """The bytes that may be held of all large bodies together, being read or being answered."""

    def __init__(self, bytes_max: int) -> None:
        self._bytes_max = bytes_max
        self._held_bytes = 0

    def take(self, size_bytes: int) -> bool:
        """Count some more as held, unless they would be too many."""
        if self._held_bytes + size_bytes > self._bytes_max:
            return False
        self._held_bytes += size_bytes
        return True

    def give_back(self, size_bytes: int) -> None:
        """Count some as held no more."""
        self._held_bytes -= size_bytes


class Share:
    """What one request holds of them."""

    def __init__(self, bodies: Bodies) -> None:
        self._bodies = bodies
        self._size_bytes = 0

    def grow_to(self, size_bytes: int) -> bool:
        """Hold so many bytes from now on; False, and no change, where there is no room."""
        if not self._bodies.take(size_bytes - self._size_bytes):
            return False
        self._size_bytes = size_bytes
        return True

    def release_after(self, running: "asyncio.Future[Any] | None") -> None:
        """Give all back once a call has ended, at once where there is none."""
        if running is None:
            self._release()
        else:
            running.add_done_callback(self._release)

    def _release(self, _: object = None) -> None:
        self._bodies.give_back(self._size_bytes)
        self._size_bytes = 0
