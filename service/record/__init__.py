"""The only write path: lock, catch up, decide, find repeats, append, commit.

A post is checked and made canonical before the lock. Posts that wait in a worker are committed
together, each decided alone: the first thread to get the lock takes the others along. The state is
taken over after the commit.
"""

from service.record.erasing import Erased, ErasingError, erase_text
from service.record.proposing import Proposed, event_of, propose
from service.record.recorder import Receipt, Recorder, TokenRevokedError, actor_of
from service.record.studios import OpenStudio, Studios, real_clock_us

__all__ = [
    "Erased",
    "ErasingError",
    "OpenStudio",
    "Proposed",
    "Receipt",
    "Recorder",
    "Studios",
    "TokenRevokedError",
    "actor_of",
    "erase_text",
    "event_of",
    "propose",
    "real_clock_us",
]
