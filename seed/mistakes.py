"""What goes wrong with the record itself: facts posted a day late, and events that are struck."""

from datetime import date
from random import Random
from typing import Any, NamedTuple

from seed import words
from seed.dates import wall_min
from seed.floor import Floor
from seed.journal import DatedFact
from seed.scenario import CODES, GRAINS
from service.production.state import Node

LATE_HAND_OFF_SHARE, LATE_START_SHARE = 0.006, 0.003
WRONG_START_ON = {
    6: "layout",
    19: "animation",
    33: "clean-up",
    47: "ink-and-paint",
    58: "animation",
}
WRONG_HAND_OFF_ON = {11: "timing-and-sheets", 25: "animation", 39: "in-between", 54: "clean-up"}
WRONG_NOTE_ON = {14: "animation", 44: "camera"}
"""Days of the record, counted from 0; the morning after, each mistake is struck."""
WRONG_MIN = 16 * 60 + 40
STRUCK_MIN = 8 * 60 + 5


class Wrong(NamedTuple):
    """An event to be struck: who struck it, why, and what is recorded in its place."""

    role: str
    position: int
    why: str
    instead: tuple[DatedFact, ...] = ()
    nodes: tuple[Node, ...] = ()


class Slip(NamedTuple):
    """A fact booked wrongly, why it will be struck, and what was meant."""

    fact: DatedFact
    why: str
    instead: tuple[DatedFact, ...] = ()


class Mistakes:
    """What was kept back to be posted late, and what is to be struck the next morning."""

    def __init__(self, rng: Random, floor: Floor) -> None:
        self.rng = rng
        self.floor = floor
        self._late: dict[str, list[DatedFact]] = {}
        self._wrong: list[Wrong] = []

    def keep_back(
        self, department: str, facts: list[DatedFact]
    ) -> tuple[list[DatedFact], list[Node]]:
        """A desk's day without what it forgets to post, and the hand-offs it forgot."""
        if GRAINS[department] != "scene":
            return facts, []
        posted, forgotten = [], []
        shares = {"hand-off.made": LATE_HAND_OFF_SHARE, "work.started": LATE_START_SHARE}
        for fact in facts:
            if self.rng.random() < shares.get(fact.type, 0):
                self._late.setdefault(department, []).append(fact)
                if fact.type == "hand-off.made":
                    forgotten.append((fact.subject, department))
            else:
                posted.append(fact)
        return posted, forgotten

    def slip(self, department: str, day: int, on: date) -> Slip | None:
        """A fact that a desk books wrongly today."""
        at_min = wall_min(on, WRONG_MIN)
        if WRONG_START_ON.get(day) == department:
            tray = self.floor.in_tray(department)
            if len(tray) >= 2:
                data = {"department": department, "artist": f"{CODES[department]}-01"}
                wrong, right = (
                    DatedFact(at_min, "work.started", item, data) for item, _ in tray[-2:]
                )
                return Slip(wrong, words.STRUCK["start"], (right,))
        desk_items = [
            node[0]
            for node in self.floor.desks[department].seats.values()
            if self.floor.on_desk[node].started_min < at_min
        ]
        if WRONG_HAND_OFF_ON.get(day) == department and desk_items:
            data = {"department": department}
            fact = DatedFact(at_min, "hand-off.made", desk_items[-1], data)
            return Slip(fact, words.STRUCK["hand-off"])
        if WRONG_NOTE_ON.get(day) == department and len(desk_items) > 1:
            data = {
                "note": f"N9{day:04d}",
                "to": "layout",
                "text": "Which way does the boat face here?",
                "department": department,
            }
            wrong, right = (DatedFact(at_min, "note.given", item, data) for item in desk_items[:2])
            return Slip(wrong, words.STRUCK["note"], (right,))
        return None

    def remember(self, wrong: Wrong) -> None:
        """Strike it tomorrow morning."""
        self._wrong.append(wrong)

    def remember_call(self, position: int, meant: DatedFact, nodes: tuple[Node, ...]) -> None:
        """A call on the wrong scene: what it reopened must be looked at again."""
        self.remember(Wrong("supervisor", position, words.STRUCK["retake"], (meant,), nodes))

    def remember_gate(self, position: int, meant: DatedFact) -> None:
        """A date of the office that was mistyped."""
        self.remember(Wrong("office", position, words.STRUCK["gate"], (meant,)))

    def morning(self, on: date) -> tuple[dict[str, list[DatedFact]], list[Node]]:
        """By role, what is posted late and what is struck; visits to look at afterwards."""
        by_role, self._late = self._late, {}
        nodes: list[Node] = []
        for wrong in self._wrong:
            struck: dict[str, Any] = {"position": wrong.position, "why": wrong.why}
            strike = DatedFact(wall_min(on, STRUCK_MIN), "event.struck", "studio", struck)
            by_role.setdefault(wrong.role, []).extend((*wrong.instead, strike))
            nodes += wrong.nodes
        self._wrong = []
        return by_role, nodes
