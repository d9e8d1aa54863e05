"""What recorded facts add up to, worked out plainly and without the service's own reading.

It takes the facts as they are posted and keeps them in dictionaries under their own names. It
knows the facts that `random_studios` makes, and no others.
"""

from dataclasses import dataclass, field
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from service.planning.kernel.line import ON_DESK, OUT, WAITING
from tests.outside.random_studios import Fact, Studio

Node = tuple[str, str]


def minute_of(moment: datetime) -> int:
    """Whole UTC minutes since the epoch."""
    return int(moment.timestamp()) // 60


@dataclass
class Visit:
    """Where one visit stands: waiting, on a desk since a minute, or handed off."""

    state: int = WAITING
    started: int = 0
    share: Fraction | None = None
    must_fix: bool = False


@dataclass
class Read:
    """Facts taken in one by one; what each type changes is in the method of its name."""

    zone: str = ""
    route: dict[str, dict[str, Any]] = field(default_factory=dict)
    kinds: dict[str, dict[str, Any]] = field(default_factory=dict)
    calendars: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    crews: dict[str, dict[date, dict[str, Any]]] = field(default_factory=dict)
    stoppages: dict[str, list[tuple[int, int, int | None]]] = field(default_factory=dict)
    episodes: dict[str, dict[str, Any]] = field(default_factory=dict)
    scenes: dict[str, dict[str, Any]] = field(default_factory=dict)
    elements: dict[str, dict[str, Any]] = field(default_factory=dict)
    dues: dict[str, date] = field(default_factory=dict)
    users: dict[str, list[str]] = field(default_factory=dict)
    visits: dict[Node, Visit] = field(default_factory=dict)
    priorities: dict[str, int] = field(default_factory=dict)
    first: dict[Node, int] = field(default_factory=dict)
    held: dict[str, date] = field(default_factory=dict)
    omitted: set[str] = field(default_factory=set)
    delivered: set[str] = field(default_factory=set)
    position: int = 0

    def take_in(self, fact: Fact) -> None:
        self.position += 1
        getattr(self, fact.type.replace(".", "_").replace("-", "_"))(fact, fact.data)

    def visit(self, item: str, department: str) -> Visit:
        return self.visits.setdefault((item, department), Visit())

    def show_opened(self, fact: Fact, data: dict[str, Any]) -> None:
        pass

    def route_laid(self, fact: Fact, data: dict[str, Any]) -> None:
        self.route = {entry["department"]: entry for entry in data["departments"]}
        self.kinds = {kind["kind"]: kind for kind in data["kinds"]}

    def calendar_set(self, fact: Fact, data: dict[str, Any]) -> None:
        self.zone = data.get("zone", self.zone)
        self.calendars.setdefault(data.get("department", ""), []).append(data)

    def crew_set(self, fact: Fact, data: dict[str, Any]) -> None:
        crews = self.crews.setdefault(data["department"], {})
        crews[date.fromisoformat(data["from_on"])] = data

    def episode_opened(self, fact: Fact, data: dict[str, Any]) -> None:
        self.episodes[fact.subject] = data

    def gate_set(self, fact: Fact, data: dict[str, Any]) -> None:
        self.dues[fact.subject] = date.fromisoformat(data["due_on"])

    def scene_listed(self, fact: Fact, data: dict[str, Any]) -> None:
        self.scenes[fact.subject] = data

    def element_listed(self, fact: Fact, data: dict[str, Any]) -> None:
        self.elements[fact.subject] = data
        self.users[fact.subject] = []

    def element_used(self, fact: Fact, data: dict[str, Any]) -> None:
        self.users[fact.subject] += data["scenes"]

    def priority_set(self, fact: Fact, data: dict[str, Any]) -> None:
        self.priorities[fact.subject] = data["priority"]

    def visit_put_first(self, fact: Fact, data: dict[str, Any]) -> None:
        self.first[fact.subject, data["department"]] = self.position

    def work_started(self, fact: Fact, data: dict[str, Any]) -> None:
        visit = self.visit(fact.subject, data["department"])
        visit.state, visit.started = ON_DESK, minute_of(fact.at)
        self.first.pop((fact.subject, data["department"]), None)  # the order is spent

    def hand_off_made(self, fact: Fact, data: dict[str, Any]) -> None:
        self.visit(fact.subject, data["department"]).state = OUT

    def retake_called(self, fact: Fact, data: dict[str, Any]) -> None:
        """Reopens the last visit handed off; none behind it had begun."""
        visit = self.visit(fact.subject, data["back_to"])
        visit.state, visit.share = WAITING, Fraction(str(data["share"]))
        visit.must_fix = data["urgency"] == "must-fix"

    def department_stopped(self, fact: Fact, data: dict[str, Any]) -> None:
        expected = minute_of(datetime.fromisoformat(data["expected_end_at"]))
        stoppages = self.stoppages.setdefault(data["department"], [])
        stoppages.append((minute_of(fact.at), expected, None))

    def department_resumed(self, fact: Fact, data: dict[str, Any]) -> None:
        begun, expected, _ = self.stoppages[data["department"]].pop()
        self.stoppages[data["department"]].append((begun, expected, minute_of(fact.at)))

    def scene_held(self, fact: Fact, data: dict[str, Any]) -> None:
        self.held[fact.subject] = date.fromisoformat(data["by_on"])

    def scene_freed(self, fact: Fact, data: dict[str, Any]) -> None:
        del self.held[fact.subject]

    def scene_omitted(self, fact: Fact, data: dict[str, Any]) -> None:
        self.omitted.add(fact.subject)

    def episode_delivered(self, fact: Fact, data: dict[str, Any]) -> None:
        self.delivered.add(fact.subject)


def read(studio: Studio) -> Read:
    """All facts of a studio."""
    found = Read()
    for fact in studio.facts:
        found.take_in(fact)
    return found
