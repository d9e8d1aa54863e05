"""A recorded event as the core sees it."""

from typing import Any

import pytest

from service.vocabulary.event import UnknownTypeError, revive_event
from service.vocabulary.facts.desks import WorkStarted
from service.vocabulary.instants import parse_instant

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
    event = revive_event(BODY)
    assert event.position == 7
    assert (event.source, event.id, event.subject) == ("/desks/paint", "e1", "KESTREL-1/2")
    assert event.time_us == parse_instant("2031-03-04T09:30:00Z")
    assert event.recorded_us == parse_instant("2031-03-04T09:31:00Z")
    assert event.poster == "paint"
    assert event.fact == WorkStarted("paint", "p3", None)


def test_an_unknown_type_fails_loudly() -> None:
    with pytest.raises(UnknownTypeError, match=r"work\.imagined"):
        revive_event({**BODY, "type": "work.imagined"})
