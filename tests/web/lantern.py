"""A studio prepared for the examples of the OpenAPI document: what is recorded before each of them.

The examples are one story, in its order. `BEFORE` holds what else must be recorded, and by whom, so
that each can be posted as it is; the clock is moved to the time of each before it is posted.
"""

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Engine
from werkzeug.test import TestResponse

from service.log import studios, tokens
from service.record import erase_text
from service.vocabulary.instants import parse_instant
from service.web.schemas.examples import STORY, example_events
from service.web.schemas.examples.shape import (
    ANIMATION,
    LAYOUT,
    OFFICE,
    OWNER,
    PRODUCTION,
    SUPERVISION,
)

from .paper import another_worker

BATCH = "application/cloudevents-batch+json"
EVENT = "application/cloudevents+json"
NAME = "lantern"
AUDIT = "//lantern/audit"
ROLES: Mapping[str, tuple[str, list[str]]] = {
    OFFICE: ("office", []),
    LAYOUT: ("desk", ["layout"]),
    ANIMATION: ("desk", ["animation"]),
    SUPERVISION: ("supervisor", []),
    PRODUCTION: ("producer", []),
    AUDIT: ("auditor", []),
}
STRUCK = 118
"""The position that the example of a strike names; text of the two behind it is erased."""


class Fact(NamedTuple):
    """What is recorded before an example."""

    source: str
    type: str
    subject: str
    time: str
    data: Mapping[str, Any]


def _desk(subject: str, department: str, start: str, end: str) -> list[Fact]:
    data = {"department": department}
    return [
        Fact(SUPERVISION, "work.started", subject, f"2031-03-{start}:00Z", data),
        Fact(SUPERVISION, "hand-off.made", subject, f"2031-03-{end}:00Z", data),
    ]


def _listed(scene: str) -> Fact:
    data = {"frames": 80, "drawings": 40}
    return Fact(OFFICE, "scene.listed", f"LANTERN-104/{scene}", "2031-01-06T12:30:00Z", data)


def _note(number: int) -> Fact:
    data = {"note": f"N-{number}", "to": "camera", "text": f"Remark {number}."}
    return Fact(SUPERVISION, "note.given", "LANTERN-104", "2031-03-21T10:30:00Z", data)


BEFORE: Mapping[str, list[Fact]] = {
    "example-element.used": [_listed(scene) for scene in ("43", "44", "58", "59", "61", "62")],
    "example-hand-out.made": _desk("LANTERN-104", "storyboard", "03T08:00", "03T15:00"),
    "example-hand-out.withdrawn": [
        Fact(
            SUPERVISION,
            "hand-out.made",
            "LANTERN-104/43",
            "2031-03-04T08:02:00Z",
            {"department": "layout", "artist": "lo-08"},
        )
    ],
    "example-note.given": [
        Fact(
            SUPERVISION,
            "hand-off.made",
            "LANTERN-104/42A",
            "2031-03-06T10:30:00Z",
            {"department": "layout"},
        )
    ],
    "example-approval.asked": [
        Fact(
            OFFICE,
            "element.listed",
            "LANTERN:LAMPLIGHTER",
            "2031-03-06T14:00:00Z",
            {"kind": "cast", "drawings": 5},
        ),
        *_desk("LANTERN:LAMPLIGHTER", "design", "06T15:00", "06T16:30"),
    ],
    "example-approval.given": [
        *_desk("LANTERN:LAMPLIGHTER", "design", "11T09:00", "12T12:00"),
        Fact(SUPERVISION, "approval.asked", "LANTERN:LAMPLIGHTER", "2031-03-12T13:00:00Z", {}),
    ],
    "example-retake.called": [
        *_desk("LANTERN-104/43", "layout", "13T09:30", "13T12:00"),
        *_desk("LANTERN-104/44", "layout", "13T12:00", "13T15:00"),
        *(
            fact
            for scene in ("42A", "43", "44")
            for fact in (
                *_desk(f"LANTERN-104/{scene}", "animation", "14T08:00", "17T15:00"),
                *_desk(f"LANTERN-104/{scene}", "clean-up", "18T08:00", "19T15:00"),
            )
        ),
    ],
    "example-episode.delivered": [
        Fact(OFFICE, "episode.opened", "LANTERN-103", "2031-03-10T09:00:00Z", {"title": "Fog"}),
        *_desk("LANTERN-103", "storyboard", "10T09:00", "11T15:00"),
        *_desk("LANTERN-103", "cutting", "12T09:00", "13T15:00"),
        *_desk("LANTERN-103", "mix", "14T09:00", "17T15:00"),
    ],
    "example-event.struck-2": [
        Fact(
            PRODUCTION,
            "gate.set",
            "LANTERN-104",
            "2031-03-21T11:30:00Z",
            {"gate": "air", "due_on": "2031-06-06", "hard": True},
        ),
    ],
    "example-change-order.raised": [
        _listed("63"),
        Fact(OFFICE, "scene.omitted", "LANTERN-104/63", "2031-03-21T13:00:00Z", {}),
    ],
}


class Lantern:
    """The studio of the examples, over HTTP with the real rules behind it."""

    def __init__(self, engine: Engine, owner: Engine) -> None:
        self.owner = owner
        with engine.begin() as connection:
            began_us = parse_instant("2031-01-06T08:00:00Z")
            studios.make_studio(connection, NAME, "simulated", began_us, "Paper Lantern Pictures")
            self._secrets = {
                source: tokens.issue(
                    connection, NAME, source, role, departments, source, datetime.now(UTC)
                )[1]
                for source, (role, departments) in ROLES.items()
            }
        self.app = another_worker(engine)
        self.head = 0

    def examples(self) -> Iterator[dict[str, Any]]:
        """Each example, once all is ready for it; the caller posts it before it takes the next."""
        left = {type_: example_events(type_) for type_ in {example.type for example in STORY}}
        for example in STORY:
            event = left[example.type].pop(0)
            self._move_clock(example.time)
            self._record(BEFORE.get(event["id"], []))
            if example.type == "event.struck":
                self._record([_note(number) for number in range(self.head + 1, STRUCK + 3)])
            yield event

    def post(self, path: str, body: object, source: str) -> TestResponse:
        """Post an event or a batch with the token that a source belongs to."""
        answer = self.app.test_client().post(
            path,
            data=json.dumps(body),
            content_type=BATCH if isinstance(body, list) else EVENT,
            headers={"Authorization": f"Bearer {self._secrets[source]}"},
        )
        if answer.status_code == 201:
            self.head = max(one["position"] for one in answer.get_json()["receipts"])
        return answer

    def erase(self, event: Mapping[str, Any]) -> None:
        """Erase texts as the owner's command does, with the data of an event."""
        data = event["data"]
        done = erase_text(self.owner, NAME, data["positions"], data["by"], data["ground"])
        self.head = done.position

    def get(self, path: str, source: str = SUPERVISION) -> Any:
        """Read an address that must answer."""
        headers = {"Authorization": f"Bearer {self._secrets[source]}"}
        answer = self.app.test_client().get(path, headers=headers)
        assert answer.status_code == 200, answer.text
        return answer.get_json(force=True)

    def _record(self, facts: list[Fact]) -> None:
        for place, fact in enumerate(facts, self.head):
            event = {"specversion": "1.0", "id": f"before-{place}", **fact._asdict()}
            answer = self.post("/events", event, fact.source)
            assert answer.status_code == 201, (fact, answer.get_json())

    def _move_clock(self, at: str) -> None:
        headers = {"Authorization": f"Bearer {self._secrets[OFFICE]}"}
        answer = self.app.test_client().put("/clock", json={"now": at}, headers=headers)
        assert answer.status_code == 200, answer.get_json()


def is_the_owners(event: Mapping[str, Any]) -> bool:
    """Whether an example is one that the database's owner records and nobody can post."""
    return bool(event["source"] == OWNER)
