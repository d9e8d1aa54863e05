"""A recorded event as the core sees it."""

import json
from typing import Any

import pytest

from service.vocabulary.event import UnknownTypeError, read_event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.desks import WorkStarted
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import members, reviver
from service.web.schemas.examples import example_events

BODY: dict[str, Any] = {
    "specversion": "1.0",
    "type": "work.started",
    "id": "e1",
    "source": "/desks/paint",
    "subject": "KESTREL-1/2",
    "time": "2031-03-04T09:30:00Z",
    "recordedat": "2031-03-04T09:31:00Z",
    "position": 7,
    "poster": "paint",
    "data": {"department": "paint", "artist": "p3"},
}


def test_a_body_becomes_an_event() -> None:
    event = read_event(json.dumps(BODY).encode())
    assert event.position == 7
    assert (event.source, event.id, event.subject) == ("/desks/paint", "e1", "KESTREL-1/2")
    assert event.time_us == parse_instant("2031-03-04T09:30:00Z")
    assert event.recorded_us == parse_instant("2031-03-04T09:31:00Z")
    assert (event.poster, event.role) == ("paint", "")
    with_role = read_event(json.dumps(BODY | {"posterrole": "desk"}).encode())
    assert with_role.role == "desk"
    assert event.fact == WorkStarted("paint", "p3", None)


def test_an_unknown_type_fails_loudly() -> None:
    with pytest.raises(UnknownTypeError, match=r"work\.imagined"):
        read_event(json.dumps({**BODY, "type": "work.imagined"}).encode())


@pytest.mark.parametrize("type_", CATALOGUE)
def test_both_ways_of_reading_give_the_same_fact(type_: str) -> None:
    # decoded at once or member by member: the fact a post is decided as is the fact it is read as
    for event in example_events(type_):
        data = event["data"]
        version = CATALOGUE[type_].VERSION
        raw = json.dumps({**BODY, "type": type_, "data": data, "typeversion": version}).encode()
        ordered = {
            member.name: data[member.name]
            for member in members(CATALOGUE[type_])
            if member.name in data
        }
        assert read_event(raw).fact == reviver(CATALOGUE[type_])(ordered)


def test_members_of_a_later_release_are_passed_over() -> None:
    data = {**BODY["data"], "mood": "grey"}
    raw = json.dumps({**BODY, "data": data, "weather": "fog"}).encode()
    assert read_event(raw) == read_event(json.dumps(BODY).encode())
