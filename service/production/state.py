"""What is known at a position of the log: persistent maps, so a branch of it costs nothing.

`State` is immutable. A `Draft` is a branch being written; `finish` closes it into a State.
"""

from typing import Any

from immutables import Map, MapMutation

from service.production.ordered import Order
from service.production.records import (
    WORDS,
    Answer,
    Crew,
    Element,
    Episode,
    Gate,
    Hold,
    LaidRoute,
    Length,
    LookAt,
    Meeting,
    Node,
    Note,
    RateCard,
    Reached,
    Retake,
    SameAs,
    Scene,
    Show,
    Stoppage,
    Touched,
)
from service.production.route import APPROVAL
from service.production.visits import UNVISITED, Visit
from service.vocabulary.calendar import Calendar
from service.vocabulary.footage import Rate

__all__ = [
    "EMPTY",
    "STUDIO_CALENDAR",
    "WORDS",
    "Answer",
    "AnyState",
    "Crew",
    "Draft",
    "Element",
    "Episode",
    "Gate",
    "Hold",
    "LaidRoute",
    "Length",
    "LookAt",
    "Meeting",
    "Node",
    "Note",
    "RateCard",
    "Reached",
    "Retake",
    "SameAs",
    "Scene",
    "Show",
    "State",
    "Stoppage",
    "Touched",
    "departments_of",
    "episodes_of",
    "item_of",
    "line_departments",
    "priority_of",
    "rate_of",
    "visit_of",
]

STUDIO_CALENDAR = ""

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
    "orders",
    "notes",
    "put_first",
    "marks",
    "latest",
    "touched",
    "codes",
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
    orders: Map[str, Order]
    notes: Map[str, Note]
    put_first: Map[Node, int]
    marks: Map[int, tuple[str, ...]]
    latest: Map[str, int]
    touched: Map[str, tuple[Touched, ...]]
    codes: Map[str, str]

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
    orders: MapMutation[str, Order]
    notes: MapMutation[str, Note]
    put_first: MapMutation[Node, int]
    marks: MapMutation[int, tuple[str, ...]]
    latest: MapMutation[str, int]
    touched: MapMutation[str, tuple[Touched, ...]]
    codes: MapMutation[str, str]

    def __init__(self, state: State) -> None:
        self.worked_out = {}
        for name in _FIELDS:
            setattr(self, name, getattr(state, name).mutate())

    def branch(self) -> State:
        """The state written so far; the draft goes on from it."""
        state = self.finish()
        for name in _FIELDS:
            setattr(self, name, getattr(state, name).mutate())
        return state

    def finish(self) -> State:
        """The state written; the draft is of no further use."""
        return State({name: getattr(self, name).finish() for name in _FIELDS})


AnyState = State | Draft

EMPTY = State({name: Map() for name in _FIELDS})


def visit_of(state: AnyState, item: str, department: str) -> Visit:
    """The visit of an item at a department, unvisited if nothing was recorded of it."""
    visits = state.visits.get(item)
    return UNVISITED if visits is None else visits.get(department, UNVISITED)


def item_of(state: AnyState, item: str) -> Scene | Element | Episode | None:
    """The scene, element or episode of that subject."""
    return state.scenes.get(item) or state.elements.get(item) or state.episodes.get(item)


def rate_of(state: AnyState, episode: str) -> Rate:
    """How the time code of an episode's show numbers frames."""
    return state.shows[state.episodes[episode].show].rate


def priority_of(state: AnyState, record: Scene | Element | Episode) -> int:
    """The priority in force for an item: a scene's own, 0 included, else its episode's."""
    if isinstance(record, Scene) and record.priority is None:
        return state.episodes[record.episode].priority
    return record.priority or 0


def line_departments(state: State) -> tuple[str, ...]:
    """All that visits are planned at, by name: departments, and approval where kinds need it."""
    names = set(state.units)
    if any(laid.route.approves for show in state.shows.values() for laid in show.routes):
        names.add(APPROVAL)
    return tuple(sorted(names))


def departments_of(item: Scene | Element | Episode) -> tuple[str, ...]:
    """The departments an item visits itself, in route order."""
    return item.route.episode_departments if isinstance(item, Episode) else item.departments


def episodes_of(state: AnyState, item: str) -> tuple[str, ...]:
    """Episodes an item belongs to: its own, or those of the scenes that use the element."""
    scene = state.scenes.get(item)
    if scene is not None:
        return (scene.episode,)
    element = state.elements.get(item)
    if element is not None:
        users = (state.scenes[user] for user in element.scenes)
        return tuple(dict.fromkeys(user.episode for user in users))
    return (item,)
