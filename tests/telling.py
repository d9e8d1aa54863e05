"""A small studio of our own to tell stories in: given facts, when a fact, then what follows.

Two half-hour episodes of the show KESTREL, an eight-hour day in Lisbon, one artist a department
unless a test says otherwise. Invented.
"""

from collections.abc import Mapping
from typing import Any

from service.client import event
from service.planning.compare.pricing import quoted
from service.production.decide import Accepted, Past, decide
from service.production.permission import Actor
from service.production.refusal import Code, Reason, Refusal
from service.production.state import EMPTY, Node, Retake, State, visit_of
from service.production.takes import Take
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import reviver

OFFICE = Actor("office", Role.OFFICE)
SUPERVISOR = Actor("supervisor", Role.SUPERVISOR)
PRODUCER = Actor("producer", Role.PRODUCER)

_PICTURE = ["background", "character"]
_ALL = ["background", "character", "sound"]

ROUTE: dict[str, Any] = {
    "departments": [
        {"department": "storyboard", "grain": "episode", "unit": "episodes"},
        {
            "department": "layout",
            "grain": "scene",
            "unit": "scenes",
            "least": 0.1,
            "follows": [{"department": "storyboard", "strands": _ALL}],
        },
        {
            "department": "background",
            "grain": "scene",
            "unit": "paintings",
            "follows": [{"department": "layout", "strands": ["background"]}],
        },
        {
            "department": "animation",
            "grain": "scene",
            "unit": "feet",
            "follows": [{"department": "layout", "strands": ["character"]}],
        },
        {
            "department": "paint",
            "grain": "scene",
            "unit": "drawings",
            "follows": [{"department": "animation", "strands": ["character"]}],
        },
        {
            "department": "camera",
            "grain": "scene",
            "unit": "scenes",
            "redo": "whole",
            "follows": [
                {"department": "background", "strands": ["background"]},
                {"department": "paint", "strands": ["character"]},
            ],
        },
        {
            "department": "cutting",
            "grain": "episode",
            "unit": "episodes",
            "follows": [{"department": "camera", "strands": _PICTURE}],
        },
        {
            "department": "mix",
            "grain": "episode",
            "unit": "episodes",
            "follows": [{"department": "cutting", "strands": ["sound"]}],
        },
        {"department": "design", "grain": "element", "unit": "drawings"},
    ],
    "kinds": [
        {
            "kind": "background",
            "departments": ["background"],
            "feeds": "camera",
            "strand": "background",
            "replaces": ["background"],
        },
        {
            "kind": "model-sheet",
            "departments": ["design"],
            "feeds": "animation",
            "strand": "character",
        },
    ],
    "gates": [
        {"gate": "rough-cut", "department": "camera", "takes": "first"},
        {"gate": "delivery", "department": "mix"},
    ],
}

APPROVING: dict[str, Any] = {
    **ROUTE,
    "kinds": [
        *ROUTE["kinds"],
        {
            "kind": "cast",
            "departments": ["design"],
            "feeds": "animation",
            "strand": "character",
            "approval": {"before": "animation", "days": 3},
        },
        {
            "kind": "prop",
            "departments": ["layout", "design"],
            "feeds": "animation",
            "strand": "character",
            "approval": {"before": "paint", "days": 2},
        },
    ],
}
"""The same with kinds that must be approved: before what they feed, and only later."""

CREWS: dict[str, float] = {
    "storyboard": 0.5,
    "layout": 2,
    "background": 1,
    "animation": 5,
    "paint": 20,
    "camera": 4,
    "cutting": 1,
    "mix": 1,
    "design": 2,
}


class Story:
    """A log in memory: facts decided and folded one by one, strikes included."""

    def __init__(self) -> None:
        self.state: State = EMPTY
        self.struck: frozenset[int] = frozenset()
        self.events: list[Event] = []
        self.data_by_position: dict[int, dict[str, Any]] = {}  # as they were given
        self.now = "2031-03-03T08:00:00Z"

    def copy(self) -> "Story":
        """A story that goes on from this one, which stays as it is."""
        other = Story()
        other.state, other.struck, other.events = self.state, self.struck, list(self.events)
        return other

    def event(
        self,
        type_: str,
        subject: str,
        data: Mapping[str, Any] | None = None,
        at: str | None = None,
        position: int | None = None,
        role: str = "supervisor",
    ) -> Event:
        """An event as it would be proposed."""
        at_us = parse_instant(at or self.now)
        place = len(self.events) + 1 if position is None else position
        self.data_by_position[place] = dict(data or {})
        fact = reviver(CATALOGUE[type_])(dict(data or {}))
        recorded_us = max(at_us, parse_instant(self.now))
        return Event(place, "/tests", f"e{place}", subject, at_us, recorded_us, "tests", fact, role)

    def propose(
        self, *events: Event, actor: Actor | None = None, state: State | None = None
    ) -> Accepted | Refusal:
        """What the rules decide of events, as a batch."""
        past = Past(EMPTY, tuple(self.unstruck()), self.struck)
        roles = events[0].fact.ROLES
        usual = next(one for one in (SUPERVISOR, OFFICE, PRODUCER) if one.role in roles)
        return decide(state or self.state, events, actor or usual, past, quoted)

    def unstruck(self) -> list[Event]:
        """What stands of the log."""
        return [event for event in self.events if event.position not in self.struck]

    def tell(
        self,
        type_: str,
        subject: str,
        data: Mapping[str, Any] | None = None,
        at: str | None = None,
    ) -> Event:
        """Record a fact that must be accepted."""
        event = self.event(type_, subject, data, at)
        self.record(event)
        return event

    def record(self, *events: Event, actor: Actor | None = None) -> None:
        """Record events as a batch that must be accepted."""
        decided = self.propose(*events, actor=actor)
        assert isinstance(decided, Accepted), decided
        self.state = decided.state
        self.struck |= decided.struck
        self.events.extend(decided.events)

    def refused(
        self,
        type_: str,
        subject: str,
        data: Mapping[str, Any] | None = None,
        at: str | None = None,
        actor: Actor | None = None,
    ) -> tuple[Reason, ...]:
        """The reasons against a fact that must be refused."""
        decided = self.propose(self.event(type_, subject, data, at), actor=actor)
        assert isinstance(decided, Refusal), "it was accepted"
        return decided.reasons

    def codes(self, *args: Any, **kwargs: Any) -> set[Code]:
        """The codes of the reasons against a fact that must be refused."""
        return {reason.code for reason in self.refused(*args, **kwargs)}

    def call_of(
        self, code: str, subject: str, back_to: str, *strands: str, **more: Any
    ) -> tuple[str, str, dict[str, Any]]:
        """Type, subject and data of a call: half of the drawings unless it says otherwise."""
        data = {"retake": code, "kind": "correction", "urgency": "should-fix", "back_to": back_to}
        if "drawings" not in more:
            more.setdefault("share", 0.5)
        return "retake.called", subject, {**data, "strands": list(strands), **more}

    def call(
        self, code: str, subject: str, back_to: str, *strands: str, at: str, **more: Any
    ) -> Retake:
        """Record a call that must be accepted; the retake as it stands."""
        self.tell(*self.call_of(code, subject, back_to, *strands, **more), at=at)
        return self.state.retakes[code]

    def reached(self, code: str) -> list[Node]:
        """The visits in a retake's reach, nearest first."""
        return [step.node for step in self.state.retakes[code].reach]

    def take(self, item: str, department: str) -> Take:
        """The newest take of a visit."""
        return visit_of(self.state, item, department).current

    def marks(self, event: Event) -> tuple[str, ...]:
        """What a recorded event is flagged as."""
        return self.state.marks.get(event.position, ())

    def desk(self, item: str, *departments: str, start: str, end: str | None = None) -> None:
        """Start visits and, where an end is given, hand them off, one after the other."""
        for department in departments:
            self.tell("work.started", item, {"department": department}, at=start)
            if end is not None:
                self.tell("hand-off.made", item, {"department": department}, at=end)


EPISODES = ("KESTREL-1", "KESTREL-2")


def office(
    scenes: int = 3,
    episodes: tuple[str, ...] = EPISODES,
    route: Mapping[str, Any] = ROUTE,
) -> list[tuple[str, str, dict[str, Any]]]:
    """The office's facts about the studio: type, subject and data of each."""
    hours = {
        "days": ["monday", "tuesday", "wednesday", "thursday", "friday"],
        "opens": "09:00",
        "closes": "17:00",
    }
    calendar = {"from_on": "2031-01-01", "zone": "Europe/Lisbon", "shifts": [hours]}
    facts: list[tuple[str, str, dict[str, Any]]] = [
        ("show.opened", "KESTREL", {"title": "Kestrel"}),
        ("route.laid", "KESTREL", dict(route)),
        ("calendar.set", "studio", calendar),
    ]
    for department, rate in CREWS.items():
        crew = {
            "department": department,
            "artists": 1,
            "units_per_artist_day": rate,
            "minutes_per_artist_day": 480,
            "from_on": "2031-01-01",
        }
        facts.append(("crew.set", "studio", crew))
    for number, episode in enumerate(episodes):
        facts.append(("episode.opened", episode, {"title": f"Number {number + 1}"}))
        due_on = f"{2031 + (3 + number) // 12}-{(3 + number) % 12 + 1:02d}-15"
        gate = {"gate": "delivery", "due_on": due_on}
        facts.append(("gate.set", episode, gate))
        facts += [
            ("scene.listed", f"{episode}/{scene}", {"frames": 80, "drawings": 40, "levels": 2})
            for scene in range(1, scenes + 1)
        ]
    return facts


def office_facts(
    scenes: int = 3, at: str = "2031-03-03T08:00:00Z", source: str = "/tests"
) -> list[dict[str, Any]]:
    """The same as events to post."""
    return [
        event(source, type_, subject, data, time=at, id=f"office-{place}")
        for place, (type_, subject, data) in enumerate(office(scenes))
    ]


def studio(
    scenes: int = 3,
    episodes: tuple[str, ...] = EPISODES,
    route: Mapping[str, Any] = ROUTE,
) -> Story:
    """The small studio at work: its office's facts recorded, boards handed off."""
    story = Story()
    for type_, subject, data in office(scenes, episodes, route):
        story.tell(type_, subject, data)
    for episode in episodes:
        story.desk(episode, "storyboard", start="2031-03-03T07:00:00Z", end="2031-03-03T08:00:00Z")
    return story
