"""Random logs in a database: the told ones, with what was said of each event."""

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

import orjson
from sqlalchemy import Engine

from service.log.append import Row, append_rows, lock_head
from service.log.studios import move_clock
from service.proofs.tree import append, leaf_hash
from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant
from tests import recording
from tests.planning.trails import recorded_at_random, strike_at_random
from tests.production.random_logs import tell_at_random
from tests.telling import Story, office

NAME = recording.NAME
Said = tuple[Event, dict[str, Any]]


def said_at_random(seed: int, facts: int = 60) -> list[Said]:
    """The told studio and random facts, strikes among them, each with its data."""
    story, random = told(), Random(seed)
    for _ in range(facts):
        if random.random() < 0.1:
            strike_at_random(story, random)
        else:
            tell_at_random(story, [random.getrandbits(32)])
    return said_of(story, random)


def told() -> Story:
    """The studio's office facts, two scenes an episode."""
    story = Story()
    for said in office(2):
        story.tell(*said)
    return story


def said_of(story: Story, random: Random) -> list[Said]:
    """A story's events, recorded one after the other at random, each with its data."""
    events = recorded_at_random(story.events, random)
    return [(event, story.said[event.position]) for event in events]


def record(engine: Engine, said: Sequence[Said]) -> None:
    """Append what was said behind the log's head, recorded when its events say."""
    with engine.begin() as connection:
        head = lock_head(connection, NAME)
        rows = []
        for event, data in said:
            body = _body(event, data)
            nodes, frontier = append(head.frontier, event.position - 1, leaf_hash(body))
            head = head._replace(
                position=event.position, recorded_at_us=event.recorded_us, frontier=frontier
            )
            department = data.get("department")
            rows.append(
                Row(
                    event.position, event.source, event.id, event.fact.TYPE, event.subject,
                    department, event.time_us, event.recorded_us, event.poster, leaf_hash(body),
                    body, nodes, None, None,
                )
            )  # fmt: skip
        append_rows(connection, NAME, rows, head)
        move_clock(connection, NAME, head.recorded_at_us)


def _body(event: Event, data: Mapping[str, Any]) -> bytes:
    told = {
        "specversion": "1.0",
        "id": event.id,
        "source": event.source,
        "type": event.fact.TYPE,
        "subject": event.subject,
        "time": format_instant(event.time_us),
        "data": data,
        "position": event.position,
        "recordedat": format_instant(event.recorded_us),
        "poster": event.poster,
    }
    return orjson.dumps(told, option=orjson.OPT_SORT_KEYS)
