"""The demo studio's log, made once in a test run, for whoever needs a large one."""

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from typing import Any

import seed
from seed.journal import Day
from service.production.evolve import fold
from service.production.state import EMPTY, State
from service.vocabulary.event import Event, read_event


@cache
def generated() -> tuple[Day, ...]:
    return tuple(seed.days())


def bodies() -> list[dict[str, Any]]:
    """Every event in order of position, as the log would hold it."""
    told = [
        (day, post, event) for day in generated() for post in day.posts for event in post.events
    ]
    return [
        {**event, "position": place + 1, "recordedat": day.clock_at, "poster": post.role}
        for place, (day, post, event) in enumerate(told)
    ]


@cache
def standing() -> tuple[Event, ...]:
    """What stands of the log: all events but those that were struck."""
    log = bodies()
    struck = {body["data"]["position"] for body in log if body["type"] == "event.struck"}
    return tuple(
        read_event(json.dumps(body).encode()) for body in log if body["position"] not in struck
    )


@cache
def final_state() -> State:
    return fold(EMPTY, standing())


def digest(days: Iterable[Day]) -> str:
    """One number for all bytes of a log."""
    known = hashlib.sha256()
    for day in days:
        known.update(json.dumps(day).encode())
    return known.hexdigest()
