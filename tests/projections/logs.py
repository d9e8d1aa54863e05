"""Random logs in a database: the told ones, with what was said of each event."""

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

import orjson
from sqlalchemy import Engine, update

from service.log.append import lock_head
from service.log.chain import Chain
from service.log.schema import projection
from service.log.studios import move_clock
from service.proofs.tree import leaf_hash
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
        chain = Chain(lock_head(connection, NAME))
        for event, data in said:
            body = _body(event, data)
            chain.put(event, body, leaf_hash(body))
        chain.write(connection, NAME)
        move_clock(connection, NAME, chain.head.recorded_at_us)


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


def built_by_other_rules(engine: Engine) -> None:
    """Have the rows that are stored be those of another release."""
    with engine.begin() as connection:
        connection.execute(update(projection).values(rules="those of last year"))
