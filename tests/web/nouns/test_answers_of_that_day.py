"""Replays of what was known at a time, held against the answers that were given at that time."""

from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

import pytest
from sqlalchemy import Engine

from service.kept import Keeping
from service.log.snapshots import latest_snapshot
from service.record import Studios
from tests.recording import SEAL_KEY

from ..paper import Paper, another_worker

EPISODES = ("KESTREL-1", "KESTREL-2")
SCENE = "KESTREL-1/1"
TRAY = "/departments/animation/tray"
CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "layout",
    "strands": ["character", "background"],
    "share": 0.5,
    "items": [SCENE, "KESTREL-1/2"],
}


@dataclass
class Journal:
    """Answers as they were given, each with the query or cursor that must give it again."""

    paper: Paper
    answers: list[tuple[str, str, Any]] = field(default_factory=list)
    trays: list[tuple[str, Any]] = field(default_factory=list)
    omitted: int = 0

    def keep(self, query: str) -> None:
        """Keep what the service answers now; `query` is what a replay needs to answer the same."""
        for episode in EPISODES:
            listed = self.paper.get("/episodes")
            (then,) = [one for one in listed["items"] if one["episode"] == episode]
            scenes = self.paper.get(f"/episodes/{episode}/scenes?limit=1000")["items"]
            answer = {"position": listed["position"], "now": listed["now"]}
            answer |= {"then": then, "scenes": scenes}
            self.answers.append((episode, query, answer))
        whole = self.paper.get(f"{TRAY}?limit=1000")["items"]
        first = self.paper.get(f"{TRAY}?limit=1")
        if "next" in first:
            assert len(whole) > 1
            self.trays.append((first["next"], whole[1:]))

    def tell(self, *args: Any, **kwargs: Any) -> int:
        """Record a fact, and keep what is answered after it."""
        position = self.paper.tell(*args, **kwargs)
        self.keep(f"position={position}")
        return position

    def move_clock(self, at: str) -> None:
        """Move the clock; nothing more is recorded at this instant."""
        self.paper.move_clock(at)
        self.keep(f"at={quote(at)}")

    def assert_replayed(self) -> None:
        """Every answer comes again, exactly."""
        assert len(self.answers) > 30
        assert len(self.trays) > 5
        for episode, query, answer in self.answers:
            shown = self.paper.get(f"/episodes/{episode}/replay?{query}")
            assert {name: shown[name] for name in answer} == answer, (episode, query)
        for cursor, rest in self.trays:
            assert self.paper.all_pages(f"{TRAY}?cursor={cursor}", 1) == rest


def journal_of_a_week(paper: Paper) -> Journal:
    """Record a week of a small studio, and keep the answers after each step."""
    journal = Journal(paper)
    paper.move_clock("2031-03-03T09:00:00Z")
    layout = {"department": "layout"}
    journal.tell("work.started", SCENE, layout)
    journal.move_clock("2031-03-03T11:30:00Z")
    paper.move_clock("2031-03-03T13:00:00Z")
    journal.tell("hand-off.made", SCENE, layout)
    slip = journal.tell("hand-off.made", "KESTREL-1/3", layout)
    journal.move_clock("2031-03-03T16:00:00Z")
    paper.move_clock("2031-03-04T10:00:00Z")
    # recorded a day late, before others in time
    journal.tell("work.started", "KESTREL-1/2", layout, at="2031-03-03T13:30:00Z")
    journal.tell("hand-off.made", "KESTREL-1/2", layout, at="2031-03-03T15:30:00Z")
    held = journal.tell("scene.held", "KESTREL-2/1", {"owes": "client", "by_on": "2031-03-07"})
    journal.tell("event.struck", "studio", {"position": slip, "why": "Not that one."})
    journal.move_clock("2031-03-04T12:00:30Z")
    paper.move_clock("2031-03-05T09:00:00Z")
    journal.tell("retake.called", "KESTREL-1", CALL)
    # a start of Tuesday that is recorded only now, after a call of Wednesday
    start = {"department": "animation"}
    journal.tell("work.started", "KESTREL-1/2", start, at="2031-03-04T09:00:00Z")
    journal.tell("priority.set", "KESTREL-2", {"priority": 5}, who="producer")
    both = [paper.event("event.struck", "studio", {"position": held, "why": "Freed by phone."})]
    position = paper.record(*both)
    journal.keep(f"position={position}")
    journal.tell("gate.set", "KESTREL-1", _gate("2031-04-09"), who="producer")
    journal.move_clock("2031-03-06T09:00:00Z")
    return journal


def _gate(due_on: str) -> dict[str, Any]:
    return {"gate": "delivery", "due_on": due_on, "hard": True}


@pytest.fixture
def journal(opened: Paper) -> Journal:
    made = journal_of_a_week(opened)
    # none of this may show in replays of the week, of which it changes much
    opened.move_clock("2031-03-10T09:00:00Z")
    start = opened.event("work.started", "KESTREL-1/3", {"department": "layout"})
    opened.record(start | {"time": "2031-03-03T10:00:00Z"})
    opened.tell("crew.set", "studio", _crew(), who="office")
    made.omitted = opened.tell("scene.omitted", "KESTREL-1/2")
    return made


def _crew() -> dict[str, Any]:
    return {
        "department": "animation",
        "artists": 2,
        "units_per_artist_day": 40,
        "minutes_per_artist_day": 480,
        "from_on": "2031-03-01",
    }


def test_answers_are_replayed_in_the_same_worker(journal: Journal) -> None:
    journal.assert_replayed()


def test_answers_are_replayed_in_another_worker_and_after_more_was_struck(
    journal: Journal, engine: Engine
) -> None:
    paper = journal.paper
    paper.app = another_worker(engine)
    journal.assert_replayed()
    strike = {"position": journal.omitted, "why": "It stays in."}
    paper.tell("event.struck", "studio", strike)
    journal.assert_replayed()
    paper.app = another_worker(engine)
    journal.assert_replayed()


def test_answers_are_replayed_from_a_snapshot(opened: Paper, engine: Engine) -> None:
    keeping = Keeping(snapshot_every=5)
    paper = opened
    journal = journal_of_a_week(paper)
    writer = Studios(engine, seal_key=SEAL_KEY, keeping=keeping).of("paper").warm
    writer.view()
    writer.history.snapshots.wait()
    with engine.connect() as connection:
        snapshot = latest_snapshot(connection, "paper", writer.view().position, SEAL_KEY)
    assert snapshot is not None
    paper.app = another_worker(engine, keeping=keeping)
    journal.assert_replayed()
