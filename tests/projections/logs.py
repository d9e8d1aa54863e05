"""Random logs of a studio, each event with its data, and how they get into a database."""

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

import orjson
from sqlalchemy import Engine, update

from service.log.append import lock_head
from service.log.chain import Chain
from service.log.schema import projection
from service.log.studios import move_clock
from service.projections import rows
from service.proofs.tree import leaf_hash
from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant
from tests import recording
from tests.planning.trails import recorded_at_random, strike_at_random
from tests.production.random_logs import tell_at_random
from tests.telling import Story, office

NAME = recording.NAME
LogEntry = tuple[Event, dict[str, Any]]


def entries_at_random(seed: int, facts: int = 60) -> list[LogEntry]:
    """The office's facts, then random facts and strikes, each with its data."""
    story, random = office_story(), Random(seed)
    for _ in range(facts):
        if random.random() < 0.1:
            strike_at_random(story, random)
        else:
            tell_at_random(story, [random.getrandbits(32)])
    return entries_of(story, random)


def office_story() -> Story:
    """The studio's office facts, two scenes an episode."""
    story = Story()
    for fact in office(2):
        story.tell(*fact)
    return story


def entries_of(story: Story, random: Random) -> list[LogEntry]:
    """A story's events, recorded one after the other at random, each with its data."""
    events = recorded_at_random(story.events, random)
    return [(event, story.data_by_position[event.position]) for event in events]


def record(engine: Engine, entries: Sequence[LogEntry]) -> None:
    """Append entries behind the log's head, recorded at the instants that their events have."""
    with engine.begin() as connection:
        chain = Chain(lock_head(connection, NAME))
        for event, data in entries:
            body = _body(event, data)
            chain.put(event, body, leaf_hash(body))
        chain.write(connection, NAME)
        move_clock(connection, NAME, chain.head.recorded_at_us)


def is_free(engine: Engine, studio: str) -> bool:
    """Whether nobody builds the studio's trail.

    The server frees the lock of a lost session once it sees that it is lost, which may be after the
    client has gone on.
    """
    with engine.connect() as connection:
        free = rows.try_lock(connection, studio)
        if free:
            rows.unlock(connection, studio)
    return free


def _body(event: Event, data: Mapping[str, Any]) -> bytes:
    members = {
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
    return orjson.dumps(members, option=orjson.OPT_SORT_KEYS)


def built_by_other_rules(engine: Engine) -> None:
    """Have the rows that are stored be those of another release."""
    with engine.begin() as connection:
        connection.execute(update(projection).values(rules="those of last year"))
