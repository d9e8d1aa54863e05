"""The small studio of `tests.telling` over HTTP, with the real rules behind it.

Every JSON answer that is read here is held against what the OpenAPI document says of it, and must
not have a member that the document leaves out.
"""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import Flask
from jsonschema import (  # type: ignore[import-untyped]  # it ships no types
    Draft202012Validator,
    FormatChecker,
)
from sqlalchemy import Engine
from werkzeug.test import TestResponse

from service.kept import USUAL, Keeping
from service.log import studios, tokens
from service.production.marks import MEANINGS
from service.record import Studios
from service.settings import Settings
from service.vocabulary.instants import parse_instant
from service.web.app import bare_app
from service.web.described import description_of
from service.web.document import document
from tests.recording import SEAL_KEY
from tests.telling import ROUTE, office
from tests.web.apps import app_on

OPENED = "2031-03-03T08:00:00Z"
BATCH = "application/cloudevents-batch+json"
EVENT = "application/cloudevents+json"
HOLDERS: Mapping[str, tuple[str, Sequence[str]]] = {
    "office": ("office", ()),
    "supervisor": ("supervisor", ()),
    "producer": ("producer", ()),
    "auditor": ("auditor", ()),
    "layout": ("desk", ("layout",)),
    "camera": ("desk", ("camera",)),
}
_OPEN_SHAPES = ("Event", "RecordedEvent", "Envelope")


class Paper:
    """A studio in a database, its app (a new one unless it is given), and a token for each role."""

    def __init__(self, engine: Engine, studio: str = "paper", app: Flask | None = None) -> None:
        with engine.begin() as connection:
            opened_us = parse_instant(OPENED)
            studios.make_studio(connection, studio, "simulated", opened_us, "Paper Lantern & Co.")
            self.secrets = {
                name: tokens.issue(
                    connection, studio, name, role, departments, "//paper", datetime.now(UTC)
                )[1]
                for name, (role, departments) in HOLDERS.items()
            }
        self.engine = engine
        self.app = app or another_worker(engine)
        self.now = OPENED
        self._ids = 0

    def event(
        self, type_: str, subject: str, data: Mapping[str, Any] | None = None, at: str | None = None
    ) -> dict[str, Any]:
        """An event with an id of its own."""
        self._ids += 1
        return {
            "specversion": "1.0",
            "id": f"e{self._ids}",
            "source": "//paper/tests",
            "type": type_,
            "subject": subject,
            "time": at or self.now,
            "data": dict(data or {}),
        }

    def open(
        self,
        scenes: int = 3,
        episodes: tuple[str, ...] = ("KESTREL-1", "KESTREL-2"),
        route: Mapping[str, Any] = ROUTE,
    ) -> None:
        """Record what the office sets up, and storyboards handed off at eight."""
        self.record(*(self.event(*fact) for fact in office(scenes, episodes, route)), who="office")
        for episode in episodes:
            self.desk(episode, "storyboard", start="2031-03-03T07:00:00Z", end=OPENED)

    def record(self, *events: dict[str, Any], who: str = "supervisor") -> int:
        """Record events that must be accepted; gives the position of the last."""
        answer = self.post("/events", list(events), who)
        assert answer.status_code == 201, answer.get_json()
        return max(int(receipt["position"]) for receipt in answer.get_json()["receipts"])

    def tell(
        self,
        type_: str,
        subject: str,
        data: Mapping[str, Any] | None = None,
        at: str | None = None,
        who: str = "supervisor",
    ) -> int:
        """Record one fact that must be accepted; gives its position."""
        return self.record(self.event(type_, subject, data, at), who=who)

    def desk(self, item: str, *departments: str, start: str, end: str | None = None) -> None:
        """Start visits and, where an end is given, hand them off."""
        for department in departments:
            data = {"department": department}
            self.tell("work.started", item, data | {"artist": f"{department}-7"}, at=start)
            if end is not None:
                self.tell("hand-off.made", item, data, at=end)

    def move_clock(self, at: str) -> None:
        """Move the studio's clock."""
        answer = self.app.test_client().put(
            "/clock", json={"now": at}, headers=self._headers("office")
        )
        assert answer.status_code == 200, answer.get_json()
        self.now = at

    def post(self, path: str, body: object, who: str = "supervisor") -> TestResponse:
        """Post one event or a batch."""
        kind = BATCH if isinstance(body, list) else EVENT
        answer = self.app.test_client().post(
            path, data=json.dumps(body), content_type=kind, headers=self._headers(who)
        )
        for receipt in (answer.get_json(silent=True) or {}).get("receipts", ()):
            assert set(receipt["marks"]) <= MEANINGS.keys(), "a mark must be in the list of them"
        return answer

    def ask(
        self, path: str, who: str = "supervisor", headers: Mapping[str, str] | None = None
    ) -> TestResponse:
        """Read an address; an answer must be of a media type that its route describes."""
        answer = self.app.test_client().get(path, headers=self._headers(who) | dict(headers or {}))
        if answer.status_code == 200:
            address = self.app.url_map.bind("").match(path.partition("?")[0], "GET")
            description = description_of(self.app.view_functions[address[0]])
            assert description is not None
            assert answer.mimetype in description.media_types
        return answer

    def get(self, path: str, who: str = "supervisor") -> dict[str, Any]:
        """Read an address that must answer, in the shape that the document describes."""
        answer = self.ask(path, who)
        assert answer.status_code == 200, answer.get_json()
        shown: dict[str, Any] = answer.get_json()
        hold_against_document(self.app, path.partition("?")[0], "get", shown)
        return shown

    def what_if(self, *events: dict[str, Any], who: str = "supervisor") -> dict[str, Any]:
        """Try events that must be accepted."""
        answer = self.post("/what-if", list(events), who)
        assert answer.status_code == 200, answer.get_json()
        shown: dict[str, Any] = answer.get_json()
        hold_against_document(self.app, "/what-if", "post", shown)
        return shown

    def problem(self, answer: TestResponse) -> tuple[int, str, list[tuple[str, str]]]:
        """The status and name of a problem, and the place and code of each of its errors."""
        assert answer.content_type == "application/problem+json"
        body = answer.get_json()
        errors = [(error["pointer"], error["code"]) for error in body.get("errors", [])]
        return answer.status_code, body["type"].removeprefix("/problems/"), errors

    def refused(self, path: str, who: str = "supervisor") -> tuple[int, str, list[tuple[str, str]]]:
        """The problem that an address answers with."""
        return self.problem(self.ask(path, who))

    def all_pages(self, path: str, limit: int) -> list[dict[str, Any]]:
        """The items of a list, page by page, by the links of its answers."""
        items: list[dict[str, Any]] = []
        next_path: str | None = f"{path}{'&' if '?' in path else '?'}limit={limit}"
        while next_path is not None:
            answer = self.ask(next_path)
            shown = answer.get_json()
            assert answer.status_code == 200, shown
            assert len(shown["items"]) <= limit
            items += shown["items"]
            link = re.fullmatch(r'<([^>]+)>; rel="next"', answer.headers.get("Link", ""))
            assert ("next" in shown) == (link is not None)
            next_path = link[1] if link else None
        return items

    def _headers(self, who: str) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.secrets[who]}"}


def another_worker(engine: Engine, keys: Path | None = None, keeping: Keeping = USUAL) -> Flask:
    """An app with nothing in memory yet; it signs checkpoints where a folder of keys is given."""
    settings = Settings(None, None, Path("/nowhere"), batch_events_max=100, keys=keys)
    opened = Studios(engine, seal_key=SEAL_KEY, keeping=keeping)
    return app_on(settings, engine, opened, SEAL_KEY)


def hold_against_document(app: Flask, path: str, method: str, shown: object) -> None:
    """Fail unless an answer has the shape that the document gives for its route."""
    rule, _ = app.url_map.bind("").match(path, method.upper(), return_rule=True)
    template = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule)
    pointer = template.replace("~", "~0").replace("/", "~1")
    shape = f"#/paths/{pointer}/{method}/responses/200/content/application~1json/schema"
    validator = Draft202012Validator(
        {**_closed_document(), "$ref": shape}, format_checker=FormatChecker()
    )
    errors = [f"{error.json_path}: {error.message}" for error in validator.iter_errors(shown)]
    assert errors == []


@lru_cache(maxsize=1)
def _closed_document() -> dict[str, Any]:
    """The document with answers closed to more members: clients skip new ones, tests must not."""
    made = document(bare_app())
    for name, shape in made["components"]["schemas"].items():
        if name.endswith(("Shown", "Page", "Answer")) and name not in _OPEN_SHAPES:
            shape.setdefault("additionalProperties", False)
    return made
