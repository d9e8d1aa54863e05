"""The demo studio's log, made once in a test run, for whoever needs a large one."""

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from itertools import islice
from typing import Any

import seed
from seed.journal import Day, actor_of
from service.planning.compare.pricing import quoted
from service.production.decide import Accepted, decide
from service.production.folding import fold
from service.production.state import EMPTY, State
from service.vocabulary.event import Event, read_event
from service.vocabulary.kinds import json_members

DAYS = 124
"""How many `Day`s the season has, two for each working date."""


def generated(days: int = DAYS) -> tuple[Day, ...]:
    """The season's days, or the first of them."""
    return _generated(days)


@cache
def _generated(days: int) -> tuple[Day, ...]:
    season = seed.days()
    first = tuple(islice(season, days))
    assert days < DAYS or next(season, None) is None, "the season has more days than it is said to"
    return first


def bodies(days: int = DAYS) -> list[dict[str, Any]]:
    """Every event in order of position, as the log would hold it."""
    return list(_bodies(days))


@cache
def _bodies(days: int) -> tuple[dict[str, Any], ...]:
    log: list[dict[str, Any]] = []
    for day in generated(days):
        for post in day.posts:
            for event in post.events:
                recorded = {"recordedat": day.clock_at, "poster": post.role}
                log.append({**event, "position": len(log) + 1, **recorded})
                if event["type"] == "change-order.approved":
                    log += [{**members, **recorded} for members in _facts_behind(log)]
    return tuple(log)


def _facts_behind(log: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The facts that the approval of an order, the last event so far, records behind itself."""
    *before, approval = log
    event = read_event(json.dumps(approval).encode())
    decided = decide(fold(EMPTY, _unstruck(before)), [event], actor_of("producer"), None, quoted)
    assert isinstance(decided, Accepted), decided
    return [
        {
            "specversion": "1.0",
            "id": made.id,
            "source": made.source,
            "type": made.fact.TYPE,
            "subject": made.subject,
            "time": approval["time"],
            "cause": made.cause,
            "data": json_members(made.fact),
            "position": made.position,
        }
        for made in decided.events[1:]
    ]


def unstruck(days: int = DAYS) -> tuple[Event, ...]:
    """What stands of the log: all events but those that were struck."""
    return _unstruck_of_days(days)


@cache
def _unstruck_of_days(days: int) -> tuple[Event, ...]:
    return _unstruck(bodies(days))


def _unstruck(log: list[dict[str, Any]]) -> tuple[Event, ...]:
    struck = {body["data"]["position"] for body in log if body["type"] == "event.struck"}
    return tuple(
        read_event(json.dumps(body).encode()) for body in log if body["position"] not in struck
    )


@cache
def final_state() -> State:
    return fold(EMPTY, unstruck())


def digest(days: Iterable[Day]) -> str:
    """The SHA-256 of all bytes of a log."""
    hasher = hashlib.sha256()
    for day in days:
        hasher.update(json.dumps(day).encode())
    return hasher.hexdigest()
