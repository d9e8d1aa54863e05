"""The events that led to where an episode stands."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Connection, Engine

from service.log.about import About, events_about
from service.log.studios import make_studio
from tests.log.recording import MINUTE_US, START_US, STUDIO, record

SUBJECTS = [
    "OWL",  # 1
    "OWL-101",
    "OWL-101/42",
    "OWL-1010",
    "OWL-1010/42",  # 5
    "OWL:BG-12",
    "OWL:BG-1",
    "OWL",
    "OWL-101/zz",
    "OWL-102/42",  # 10
]


@pytest.fixture
def connection(engine: Engine) -> Iterator[Connection]:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        make_studio(connection, "south", "simulated", START_US)
        record(connection, [{"subject": "OWL-101"}] * 12, studio="south")
        record(connection, [{"subject": subject} for subject in SUBJECTS])
        yield connection


def positions(connection: Connection, about: About, **but: object) -> list[int]:
    conditions: dict[str, object] = {"after": 0, "limit": 100, "until_position": 10, "without": ()}
    found = events_about(connection, STUDIO, about, **(conditions | but))  # type: ignore[arg-type]  # a test's table
    return [stored.position for stored in found.rows]


def test_an_episode_its_scenes_and_what_is_named_beside(connection: Connection) -> None:
    assert positions(connection, About("OWL-101", (), ())) == [2, 3, 9]
    assert positions(connection, About("OWL-101", ["OWL:BG-1"], [8, 10])) == [2, 3, 7, 8, 9, 10]


def test_bounds_and_what_is_left_out(connection: Connection) -> None:
    about = About("OWL-101", ["OWL:BG-1"], [8])
    assert positions(connection, about, after=3) == [7, 8, 9]
    assert positions(connection, about, limit=2) == [2, 3]
    assert positions(connection, about, until_position=8) == [2, 3, 7, 8]
    assert positions(connection, about, without=[3, 8]) == [2, 7, 9]
    # the event at a position happened as many minutes after the start
    assert positions(connection, about, time_until_us=START_US + 7 * MINUTE_US) == [2, 3, 7]


def test_there_may_be_more_than_a_statement_has_parameters(connection: Connection) -> None:
    many = range(5, 70_000)
    assert positions(connection, About("OWL-101", (), many)) == [2, 3, 5, 6, 7, 8, 9, 10]
    assert positions(connection, About("OWL-101", (), ()), without=many) == [2, 3]
