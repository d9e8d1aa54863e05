"""The demo studio: three months of a studio of our own invention, the same at every run.

`days` makes them anew for a seed number; nothing of it depends on the clock, on the process or
on the order of hashes. `final_retake` is the call with which the demonstration ends.
"""

from collections.abc import Iterator
from typing import Any

from seed.dates import wall_min
from seed.journal import Day, Post
from seed.orders import APPROVED as APPROVED_ORDER
from seed.scenario import DEPARTMENTS, FINAL_ON, FIRST_ON, SHOW, STUDIO, STUDIO_TITLE, ZONE
from seed.studio import Studio
from service.vocabulary.instants import format_min

__all__ = [
    "APPROVED_ORDER",
    "DEPARTMENTS",
    "STUDIO",
    "STUDIO_TITLE",
    "ZONE",
    "Day",
    "Post",
    "days",
    "final_retake",
    "opening_clock",
]

SEED = 1931


def days(seed: int = SEED) -> Iterator[Day]:
    """The recorded days in order, two for each working date: before the desks open, and after.

    The last one is the morning of the final retake, so that the clock stands where it is called.
    """
    return Studio(seed).run()


def opening_clock() -> str:
    """Where the simulated clock stands when the studio is made (RFC 3339)."""
    return format_min(wall_min(FIRST_ON, 7 * 60))


def final_retake() -> dict[str, Any]:
    """The call of the morning after the record, for the supervisor to post."""
    return {
        "specversion": "1.0",
        "id": "supervision-final",
        "source": "/supervision",
        "type": "retake.called",
        "subject": f"{SHOW}:colour-brannock",
        "time": format_min(wall_min(FINAL_ON, 8 * 60 + 26)),
        "data": {
            "retake": "R-BRANNOCK",
            "kind": "revision",
            "urgency": "must-fix",
            "back_to": "design",
            "strands": ["character"],
            "share": 1,
            "found_at": "broadcaster-viewing",
            "fault_of": "design",
            "asked_by": "standards",
            "why": "His coat reads as a uniform; it must change colour wherever it is still ours.",
        },
    }
