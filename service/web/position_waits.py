"""Reads that wait for a position that the log does not have yet: few at a time, and not for long.

Each holds a thread. Who may not wait is told at once to ask again.
"""

import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Protocol

from service.studio import WAIT_S_MAX, NotYetError, View

WAITING_MAX = 2
"""How many wait in one worker."""
WAITING_MAX_OF_TOKEN = 1
FAR = 1000
"""A log that is so many events behind will not come up in time."""


class Viewed(Protocol):
    """A studio that gives a view of at least a position."""

    def view(self, min_position: int = 0, wait_s: float = ..., /) -> View:
        """The state at a position at least. Raises NotYetError after so long."""


@dataclass
class Waiting:
    """Who waits in this worker, by token, for `wait_s` each; safe to use from several threads."""

    wait_s: float = WAIT_S_MAX
    _of_tokens: Counter[str] = field(default_factory=Counter)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def place(self, token_id: str) -> Iterator[bool]:
        """A place to wait in until the block ends; False where there is none left."""
        with self._lock:
            free = (
                self._of_tokens.total() < WAITING_MAX
                and self._of_tokens[token_id] < WAITING_MAX_OF_TOKEN
            )
            self._of_tokens[token_id] += free
        try:
            yield free
        finally:
            with self._lock:
                self._of_tokens[token_id] -= free
                self._of_tokens += Counter()  # drops those at zero


def view_of(studio: Viewed, min_position: int, waiting: Waiting, token_id: str) -> View:
    """A studio's state, at a position at least.

    Raises NotYetError where the log has not come so far, after a wait if there is a place for it
    and the log is not far behind.
    """
    try:
        return studio.view(min_position, 0)
    except NotYetError as error:
        if error.position - error.head > FAR:
            raise
        with waiting.place(token_id) as free:
            if not free:
                raise
            return studio.view(min_position, waiting.wait_s)
