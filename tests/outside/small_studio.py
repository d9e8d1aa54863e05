"""A small studio with a short story in its log, behind the service as its users run it.

The story tells something of every noun that has an address, so that reads find what they name.
Two episodes of three scenes, and what the office of `tests.telling` says of them; invented.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, insert

from service.client import Client, event
from service.log import schema, studios, tokens
from service.log.embedded import ensure_running, stop
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.settings import Settings
from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.instants import parse_instant
from tests.serving import served
from tests.telling import office

NOW = "2031-03-14T12:00:00Z"
SOURCE = "/desk"
HOLDERS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "office": ("office", ()),
    "supervisor": ("supervisor", ()),
    "producer": ("producer", ()),
    "auditor": ("auditor", ()),
    "layout": ("desk", ("layout",)),
}
_MONDAY = "2031-03-03T08:00:00Z"
_ONE, _TWO, _THREE, _OTHER = "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3", "KESTREL-2/1"
_PIER = "KESTREL:PIER"

DatedFact = tuple[str, str, str, dict[str, Any]]


def _worked(item: str, department: str, start: str, end: str) -> list[DatedFact]:
    data = {"department": department}
    return [
        ("work.started", item, start, {**data, "artist": f"{department}-7"}),
        ("hand-off.made", item, end, data),
    ]


def _call(code: str, item: str, at: str, **more: Any) -> DatedFact:
    data = {"retake": code, "kind": "retake", "urgency": "must-fix", "back_to": "layout"}
    strands = {"strands": ["character"], "share": 0.5, "why": "The lantern is on the wrong side."}
    return "retake.called", item, at, data | strands | more


def _lead(code: str) -> dict[str, Any]:
    return {"retake": code, "why": "It reads."}


# type, subject, time and data, in the order in which they are posted
_STORY: tuple[DatedFact, ...] = (
    ("element.listed", _PIER, _MONDAY, {"kind": "background", "title": "Pier", "drawings": 1}),
    ("element.used", _PIER, _MONDAY, {"scenes": [_TWO]}),
    ("hook-up.declared", _ONE, _MONDAY, {"to": _TWO}),
    (
        "same-as.declared",
        _OTHER,
        _MONDAY,
        {"source": _THREE, "joins": "camera", "strands": ["background"]},
    ),
    *_worked("KESTREL-1", "storyboard", _MONDAY, "2031-03-03T12:00:00Z"),
    ("hand-out.made", _ONE, "2031-03-04T09:00:00Z", {"department": "layout", "artist": "lo-7"}),
    *_worked(_ONE, "layout", "2031-03-04T09:30:00Z", "2031-03-04T12:00:00Z"),
    (
        "hand-off.refused",
        _ONE,
        "2031-03-04T12:30:00Z",
        {"department": "animation", "sender": "layout", "share": 0.25, "why": "No field chart."},
    ),
    *_worked(_ONE, "layout", "2031-03-04T13:00:00Z", "2031-03-04T15:00:00Z"),
    ("work.started", _ONE, "2031-03-05T09:00:00Z", {"department": "animation", "artist": "an-1"}),
    *_worked(_TWO, "layout", "2031-03-05T09:00:00Z", "2031-03-05T12:00:00Z"),
    (
        "department.stopped",
        "studio",
        "2031-03-06T09:00:00Z",
        {"department": "paint", "expected_end_at": "2031-03-20T09:00:00Z", "why": "A leak."},
    ),
    ("department.resumed", "studio", "2031-03-06T15:00:00Z", {"department": "paint"}),
    (
        "scene.held",
        _THREE,
        "2031-03-06T16:00:00Z",
        {"owes": "client", "by_on": "2031-03-20", "why": "Which hat?"},
    ),
    ("scene.held", _TWO, "2031-03-06T16:00:00Z", {"owes": "client", "by_on": "2031-03-10"}),
    ("scene.freed", _TWO, "2031-03-07T09:00:00Z", {"why": "The red one."}),
    ("visit.put-first", _TWO, "2031-03-07T09:00:00Z", {"department": "animation"}),
    ("priority.set", "KESTREL-2", "2031-03-07T09:00:00Z", {"priority": 3}),
    ("scene.retimed", _THREE, "2031-03-07T10:00:00Z", {"frames": 96, "drawings": 48}),
    ("scene.omitted", "KESTREL-2/3", "2031-03-07T10:00:00Z", {"why": "The client's cut."}),
    ("scene.restored", "KESTREL-2/3", "2031-03-07T11:00:00Z", {"why": "And back."}),
    (
        "note.given",
        _ONE,
        "2031-03-10T09:00:00Z",
        {"note": "N-1", "to": "layout", "text": "Higher."},
    ),
    ("note.given", _TWO, "2031-03-10T09:00:00Z", {"note": "N-2", "to": "camera", "text": "Slow."}),
    ("note.answered", _ONE, "2031-03-10T10:00:00Z", {"note": "N-1", "text": "Done."}),
    _call("R-1", _ONE, "2031-03-11T09:00:00Z", asked_by="client", found_at="screening"),
    _call("R-2", _TWO, "2031-03-11T10:00:00Z", fault_of="layout"),
    _call("R-3", _TWO, "2031-03-11T11:00:00Z", share=0.1),
    ("look-at.answered", _TWO, "2031-03-12T09:00:00Z", {"retake": "R-1", "answer": "fine"}),
    ("retake.withdrawn", _TWO, "2031-03-12T10:00:00Z", _lead("R-2")),
    ("retake.bought-as-is", _TWO, "2031-03-12T11:00:00Z", _lead("R-3")),
    ("scene.bought", _TWO, "2031-03-13T09:00:00Z", {}),
    ("episode.opened", "KESTREL-0", _MONDAY, {"title": "The pilot"}),
    ("episode.delivered", "KESTREL-0", "2031-03-13T09:00:00Z", {}),
    (
        "change-order.raised",
        "KESTREL-2",
        "2031-03-13T09:30:00Z",
        {
            "order": "CO-7",
            "asked_by": "broadcaster",
            "words": "Without the ferry.",
            "lines": [
                {"change": "omit", "scene": "KESTREL-2/3"},
                {"change": "fee", "amount": "-12.50", "what": "The ferry's design"},
            ],
        },
    ),
    ("note.given", _ONE, "2031-03-13T10:00:00Z", {"note": "N-3", "to": "layout", "text": "Oops."}),
)


@dataclass(frozen=True)
class Answering:
    """A running service, and its database, to make studios in."""

    url: str
    engine: Engine

    def studio(self, name: str) -> "SmallStudio":
        """A new studio with a token for each holder, and nothing in its log."""
        with self.engine.begin() as connection:
            studios.make_studio(connection, name, "simulated", parse_instant(NOW))
            secrets = {
                holder: tokens.issue(
                    connection, name, holder, role, departments, SOURCE, datetime.now(UTC)
                )[1]
                for holder, (role, departments) in HOLDERS.items()
            }
        return SmallStudio(self.url, secrets)

    def studio_of_any_source(self, name: str) -> "SmallStudio":
        """The same with tokens of an earlier release, which own every source."""
        with self.engine.begin() as connection:
            studios.make_studio(connection, name, "simulated", parse_instant(NOW))
            for holder, (role, departments) in HOLDERS.items():
                connection.execute(
                    insert(schema.token).values(
                        studio=name,
                        token_id=holder,
                        name=holder,
                        role=role,
                        departments=list(departments),
                        source_prefix="",
                        token_hash=tokens.hashed(f"{name}-{holder}"),
                        issued_at=datetime.now(UTC),
                    )
                )
        return SmallStudio(self.url, {holder: f"{name}-{holder}" for holder in HOLDERS})


@dataclass(frozen=True)
class SmallStudio:
    """One studio behind the service."""

    url: str
    secrets: Mapping[str, str]

    def client(self, holder: str) -> Client:
        """A connection with the token of a holder."""
        return Client(self.url, self.secrets[holder])

    def tell_story(self) -> list[dict[str, Any]]:
        """Record the story, each event by a role that may; gives the events as they were posted."""
        office_facts = [(type_, subject, _MONDAY, data) for type_, subject, data in office()]
        story = [
            event(SOURCE, type_, subject, data, time=at, id=f"story-{place}")
            for place, (type_, subject, at, data) in enumerate([*office_facts, *_STORY])
        ]
        receipts = self._post(story)
        slip = {"position": receipts[-1]["position"], "why": "Another scene was meant."}
        strike = event(SOURCE, "event.struck", "studio", slip, time=NOW, id="story-strike")
        self._post([strike])
        return [*story, strike]

    def _post(self, events: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
        receipts: list[dict[str, Any]] = []
        for holder, batch in groupby(events, _holder_of):
            with self.client(holder) as ledger:
                receipts += ledger.post(list(batch))
        return receipts


def _holder_of(posted: Mapping[str, Any]) -> str:
    roles = CATALOGUE[posted["type"]].ROLES
    return "supervisor" if Role.SUPERVISOR in roles else "office"


@contextmanager
def answering(folder: Path) -> Iterator[Answering]:
    """The service on an empty database in a folder that the database's account may pass."""
    data = folder / "d"
    try:
        url = ensure_running(data, durable=False)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
        with served(data) as address:
            yield Answering(address, engine)
        engine.dispose()
    finally:
        stop(data)
