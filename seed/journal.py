"""The demo studio's record as it grows: facts become events, are decided, and are posted.

Nothing is posted that the rules refuse: a refusal here is a fault of the scenario.
"""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from service.planning.compare.pricing import Quote, quoted
from service.production.decide import Accepted, Past, decide
from service.production.permission import Actor
from service.production.refusal import Refusal
from service.production.state import EMPTY, State
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN, format_min
from service.vocabulary.kinds import reviver

EVENTS_MOST = 500
REMEMBERED = 120
"""How many posts back a mistake can be struck; more than are made between two mornings."""

_SOURCES = {"office": "/office", "supervisor": "/supervision", "producer": "/production"}
_ROLES = {"office": Role.OFFICE, "supervisor": Role.SUPERVISOR, "producer": Role.PRODUCER}
_LISTED = {
    "episode.opened": "episodes",
    "scene.listed": "scenes",
    "element.listed": "elements",
}
_REVIVERS = {type_: reviver(fact) for type_, fact in CATALOGUE.items()}


class Post(NamedTuple):
    """What one token posts at once: its role or its desk's department, and CloudEvents."""

    role: str
    events: tuple[dict[str, Any], ...]


class Day(NamedTuple):
    """Posts made while the simulated clock stands at `clock_at` (RFC 3339)."""

    clock_at: str
    posts: tuple[Post, ...]


class DatedFact(NamedTuple):
    """A fact and when it happened, in UTC minutes."""

    at_min: int
    type: str
    subject: str
    data: dict[str, Any]


class _Past(NamedTuple):
    """The state before a post, and the position of the post's first event."""

    position: int
    state: State


class Journal:
    """The log so far, by its state; positions count from 1 in order of posting."""

    def __init__(self) -> None:
        self.state: State = EMPTY
        self.clock_min = 0
        # the state's maps have no order of their own that two processes would share
        self.listed: dict[str, list[str]] = {name: [] for name in _LISTED.values()}
        self.position = 0
        self._new: list[str] = []
        self._ids: dict[str, int] = {}
        self._pasts: list[_Past] = []
        self._recent: list[Event] = []
        self._struck: frozenset[int] = frozenset()
        self._posts: list[Post] = []

    def move_clock(self, clock_min: int) -> None:
        """Set the clock at which the following posts are recorded."""
        self.clock_min = clock_min

    def take_day(self) -> Day:
        """What was posted since the last time it was asked for."""
        day = Day(format_min(self.clock_min), tuple(self._posts))
        self._posts = []
        return day

    def take_listed(self) -> list[str]:
        """Items listed since the last time it was asked for, and episodes with new scenes."""
        new, self._new = self._new, []
        scenes = [item for item in new if item in self.state.scenes]
        grown = [self.state.scenes[scene].episode for scene in scenes]
        return list(dict.fromkeys([*new, *grown]))

    def post(self, role: str, facts: Iterable[DatedFact]) -> list[int]:
        """Record facts, strikes first and the others in order of time; the position of each.

        Raises ValueError with the reasons if the rules refuse one.
        """
        # as the service records them
        given = list(facts)
        places = sorted(
            range(len(given)),
            key=lambda place: (given[place].type != EventStruck.TYPE, given[place].at_min),
        )
        positions: list[int] = []
        for at in range(0, len(places), EVENTS_MOST):
            positions += self._post(role, [given[one] for one in places[at : at + EVENTS_MOST]])
        return [position for _, position in sorted(zip(places, positions, strict=True))]

    def would_accept(self, role: str, fact: DatedFact) -> bool:
        """Whether the rules would take a fact now; not for strikes."""
        event = self._event(role, fact, self.position + 1, "asked")
        return isinstance(decide(self.state, [event], actor_of(role)), Accepted)

    def quote(self, code: str, at_min: int) -> Quote:
        """What an order would cost at a moment. Raises ValueError where it cannot be said."""
        quote = quoted(self.state, code, at_min * US_PER_MIN)
        if isinstance(quote, Refusal):
            raise ValueError(f"{code} has no quote: {quote.reasons[0].detail}")
        return quote

    def _post(self, role: str, facts: Sequence[DatedFact]) -> list[int]:
        source = _source(role)
        bodies: list[dict[str, Any]] = []
        events: list[Event] = []
        for fact in facts:
            number = self._ids[source] = self._ids.get(source, 0) + 1
            identity = f"{source.rsplit('/', 1)[1]}-{number:06d}"
            position = self.position + len(events) + 1
            events.append(self._event(role, fact, position, identity))
            bodies.append(_body(source, identity, fact))
            if fact.type in _LISTED:
                self.listed[_LISTED[fact.type]].append(fact.subject)
                self._new.append(fact.subject)
        recorded = self._record(role, events)
        self._posts.append(Post(role, tuple(bodies)))
        return [event.position for event in recorded if not event.cause]

    def _event(self, role: str, fact: DatedFact, position: int, identity: str) -> Event:
        return Event(
            position,
            _source(role),
            identity,
            fact.subject,
            fact.at_min * US_PER_MIN,
            self.clock_min * US_PER_MIN,
            role,
            _REVIVERS[fact.type](fact.data),
        )

    def _record(self, role: str, events: list[Event]) -> tuple[Event, ...]:
        """All that was recorded, the facts of an approved order among it."""
        past = None
        struck = [event.fact.position for event in events if isinstance(event.fact, EventStruck)]
        if struck:
            past = self._past(min(struck))
        decided = decide(self.state, events, actor_of(role), past, quoted)
        if isinstance(decided, Refusal):
            first = decided.reasons[0]
            raise ValueError(f"{events[first.place]} is refused: {first.detail}")
        self._pasts.append(_Past(self.position + 1, self.state))
        self._recent += decided.events
        self.state = decided.state
        self._struck |= decided.struck
        self.position += len(decided.events)
        self._forget(min(struck, default=0))
        return decided.events

    def _past(self, position: int) -> Past:
        """What a strike is decided against: the newest known state before what it strikes."""
        past = next(past for past in reversed(self._pasts) if past.position <= position)
        unstruck = tuple(
            event
            for event in self._recent
            if event.position >= past.position and event.position not in self._struck
        )
        return Past(past.state, unstruck, self._struck)

    def _forget(self, struck_from: int) -> None:
        """Drop states that hold what is struck now, and those too old to be asked for."""
        if struck_from:
            self._pasts = [past for past in self._pasts if past.position <= struck_from]
        if len(self._pasts) > REMEMBERED:
            self._pasts = self._pasts[-REMEMBERED // 2 :]
            first = self._pasts[0].position
            self._recent = [event for event in self._recent if event.position >= first]


def actor_of(role: str) -> Actor:
    """Who posts under a role, or for a desk under its department's name."""
    if role in _ROLES:
        return Actor(role, _ROLES[role])
    return Actor(role, Role.DESK, (role,))


def _source(role: str) -> str:
    return _SOURCES.get(role) or f"/desks/{role}"


def _body(source: str, identity: str, fact: DatedFact) -> dict[str, Any]:
    return {
        "specversion": "1.0",
        "id": identity,
        "source": source,
        "type": fact.type,
        "subject": fact.subject,
        "time": format_min(fact.at_min),
        "data": fact.data,
    }
