"""What is known at a position of the log: persistent maps, so a branch of it costs nothing.

`State` is immutable. A `Draft` is a branch being written; `finish` closes it into a State.
"""

from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from immutables import Map, MapMutation

from service.production.route import Route
from service.production.visits import UNVISITED, Visit
from service.vocabulary.calendar import Calendar
from service.vocabulary.footage import RATES, Rate

WORDS = tuple[tuple[str, int], ...]
Node = tuple[str, str]  # (item, department)
STUDIO_CALENDAR = ""


class Crew(NamedTuple):
    """A department's artists from a date on."""

    from_on: date
    artists: int
    rate_e4: int
    day_min: int


class RateCard(NamedTuple):
    """Prices by department's unit, valid from a date; the share of them that is credited."""

    from_on: date
    currency: str
    rates: tuple[tuple[str, Decimal], ...]
    credit_e4: int

    def rate(self, department: str) -> Decimal | None:
        """The price of a department's unit; None where the card has none."""
        return next((rate for name, rate in self.rates if name == department), None)


class Stoppage(NamedTuple):
    """A department not working; `resumed_us` is -1 while it lasts."""

    position: int
    stopped_us: int
    expected_end_us: int
    resumed_us: int


class LaidRoute(NamedTuple):
    """A route, the date from which items listed take it (None: at once), and when it was laid."""

    from_on: date | None
    route: Route
    laid_us: int


class Show(NamedTuple):
    """A series."""

    title: str
    frames_per_second: int
    routes: tuple[LaidRoute, ...] = ()
    elements: tuple[str, ...] = ()
    timecode: str | None = None

    @property
    def rate(self) -> Rate:
        """How its time code numbers frames."""
        return Rate(self.frames_per_second) if self.timecode is None else RATES[self.timecode]


class Gate(NamedTuple):
    """A date an episode must meet."""

    due_on: date
    hard: bool


class Episode(NamedTuple):
    """One half hour."""

    title: str
    show: str
    order: int
    route: Route
    frames: int | None
    difficulty: WORDS
    work: WORDS
    gates: tuple[tuple[str, Gate], ...] = ()
    scenes: tuple[str, ...] = ()
    delivered_us: int = -1
    priority: int = 0
    scene_frames: int = 0  # running total over the scenes in the picture

    def gate(self, name: str) -> Gate | None:
        """The gate of that name, if it is set."""
        return next((gate for known, gate in self.gates if known == name), None)


class Hold(NamedTuple):
    """A scene waits for an answer."""

    position: int
    owes: str
    by_on: date
    since_us: int


class SameAs(NamedTuple):
    """A scene reuses another's, from a department on."""

    source: str
    joins: str
    strands: frozenset[str]
    levels: tuple[str, ...]


class Scene(NamedTuple):
    """One camera set-up. `departments` are those it visits itself, in route order."""

    episode: str
    number: str
    route: Route
    frames: int
    drawings: int
    levels: int
    difficulty: WORDS
    work: WORDS
    departments: tuple[str, ...]
    listed_us: int
    omitted_us: int = -1
    bought_us: int = -1
    priority: int = 0
    hold: Hold | None = None
    elements: tuple[str, ...] = ()
    same_as: tuple[SameAs, ...] = ()
    omissions: tuple[tuple[int, int], ...] = ()  # those that are over: from, until

    @property
    def omitted(self) -> bool:
        """Whether the scene is out of the picture."""
        return self.omitted_us >= 0

    @property
    def bought(self) -> bool:
        """Whether it was ever accepted; a retake since may have reopened it."""
        return self.bought_us >= 0

    def omitted_at(self, at_us: int) -> bool:
        """Whether the scene was out of the picture at an instant, as now known."""
        if 0 <= self.omitted_us < at_us:
            return True
        return any(from_us < at_us < until_us for from_us, until_us in self.omissions)


class Element(NamedTuple):
    """Something made once and used by several scenes."""

    show: str
    kind: str
    title: str | None
    route: Route
    frames: int
    drawings: int
    difficulty: WORDS
    work: WORDS
    departments: tuple[str, ...]
    listed_us: int
    scenes: tuple[str, ...] = ()
    priority: int = 0


class Note(NamedTuple):
    """A remark; its text lies with the event at `position`."""

    position: int
    item: str
    to: str
    given_us: int
    answered_us: int = -1
    answered_position: int = -1


class Reached(NamedTuple):
    """A visit in a retake's reach: which visit of the reach it was reached from, and its share."""

    node: Node
    via: Node | None
    share_e4: int


class LookAt(NamedTuple):
    """A scene listed to look at: why, from where, and the answer if there is one."""

    scene: str
    reason: str  # "hook-up" or "marked"
    via: tuple[Reached, ...]
    answer: str = ""


class Retake(NamedTuple):
    """A call and its reach, kept as it was called."""

    position: int
    subject: str
    called_us: int
    kind: str
    urgency: str
    back_to: str
    strands: frozenset[str]
    items: tuple[str, ...]
    share_e4: int
    drawings: int | None
    found_at: str | None
    fault_of: str | None
    asked_by: str
    reach: tuple[Reached, ...]
    look_at: tuple[LookAt, ...]
    standing: str = "standing"
    marks: tuple[tuple[str, str], ...] = ()  # scenes, and what the caller wants for them


_FIELDS = (
    "calendars",
    "crews",
    "stoppages",
    "units",
    "rate_cards",
    "shows",
    "episodes",
    "scenes",
    "elements",
    "visits",
    "reusers",
    "hook_ups",
    "retakes",
    "notes",
    "put_first",
    "marks",
    "latest",
)


class State:
    """An immutable state; equal when all its maps are."""

    __slots__ = _FIELDS

    calendars: Map[str, Calendar]
    crews: Map[str, tuple[Crew, ...]]
    stoppages: Map[str, tuple[Stoppage, ...]]
    units: Map[str, str]
    rate_cards: Map[str, tuple[RateCard, ...]]
    shows: Map[str, Show]
    episodes: Map[str, Episode]
    scenes: Map[str, Scene]
    elements: Map[str, Element]
    visits: Map[str, dict[str, Visit]]
    reusers: Map[str, tuple[str, ...]]
    hook_ups: Map[str, tuple[str, ...]]
    retakes: Map[str, Retake]
    notes: Map[str, Note]
    put_first: Map[Node, int]
    marks: Map[int, tuple[str, ...]]
    latest: Map[str, int]

    def __init__(self, maps: dict[str, Map[Any, Any]]) -> None:
        for name in _FIELDS:
            object.__setattr__(self, name, maps[name])

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a state is never changed; make a Draft of it")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, State):
            return NotImplemented
        return all(getattr(self, name) == getattr(other, name) for name in _FIELDS)

    __hash__ = None  # type: ignore[assignment]  # equality is by value, and values are large

    def differences(self, other: "State") -> list[str]:
        """Names of the maps that differ, for messages."""
        return [name for name in _FIELDS if getattr(self, name) != getattr(other, name)]


class Draft:
    """A branch of a state, being written; reads like a state.

    `worked_out` holds what was worked out to decide an event until the event is applied.
    """

    __slots__ = (*_FIELDS, "worked_out")

    worked_out: dict[Any, Any]

    calendars: MapMutation[str, Calendar]
    crews: MapMutation[str, tuple[Crew, ...]]
    stoppages: MapMutation[str, tuple[Stoppage, ...]]
    units: MapMutation[str, str]
    rate_cards: MapMutation[str, tuple[RateCard, ...]]
    shows: MapMutation[str, Show]
    episodes: MapMutation[str, Episode]
    scenes: MapMutation[str, Scene]
    elements: MapMutation[str, Element]
    visits: MapMutation[str, dict[str, Visit]]
    reusers: MapMutation[str, tuple[str, ...]]
    hook_ups: MapMutation[str, tuple[str, ...]]
    retakes: MapMutation[str, Retake]
    notes: MapMutation[str, Note]
    put_first: MapMutation[Node, int]
    marks: MapMutation[int, tuple[str, ...]]
    latest: MapMutation[str, int]

    def __init__(self, state: State) -> None:
        self.worked_out = {}
        for name in _FIELDS:
            setattr(self, name, getattr(state, name).mutate())

    def finish(self) -> State:
        """The state written; the draft is of no further use."""
        return State({name: getattr(self, name).finish() for name in _FIELDS})


Known = State | Draft

EMPTY = State({name: Map() for name in _FIELDS})


def visit_of(known: Known, item: str, department: str) -> Visit:
    """The visit of an item at a department, unvisited if nothing was recorded of it."""
    visits = known.visits.get(item)
    return UNVISITED if visits is None else visits.get(department, UNVISITED)


def item_of(known: Known, item: str) -> Scene | Element | Episode | None:
    """The scene, element or episode of that subject."""
    return known.scenes.get(item) or known.elements.get(item) or known.episodes.get(item)


def rate_of(known: Known, episode: str) -> Rate:
    """How the time code of an episode's show numbers frames."""
    return known.shows[known.episodes[episode].show].rate


def departments_of(item: Scene | Element | Episode) -> tuple[str, ...]:
    """The departments an item visits itself, in route order."""
    return item.route.episode_departments if isinstance(item, Episode) else item.departments


def episodes_of(known: Known, item: str) -> tuple[str, ...]:
    """Episodes an item belongs to: its own, or those of the scenes that use the element."""
    scene = known.scenes.get(item)
    if scene is not None:
        return (scene.episode,)
    element = known.elements.get(item)
    if element is not None:
        users = (known.scenes[user] for user in element.scenes)
        return tuple(dict.fromkeys(user.episode for user in users))
    return (item,)
