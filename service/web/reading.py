"""What a read is answered from, and how its answer leaves: one position, one moment, one tag."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from flask import Response, g, request
from msgspec import UNSET

from service.cached import cached_property
from service.planning.board.faults import PlanError
from service.planning.plan.schedule import Schedule, suppositions, unplanned
from service.planning.plan.standing import Standings
from service.production.state import State
from service.studio import Studio, View
from service.vocabulary.instants import US_PER_MIN, format_min
from service.vocabulary.zones import ZONE_DATA_VERSION
from service.web import negotiation
from service.web.answers import ItemsShown, ReadShown, Shown, encoded
from service.web.described import description_here
from service.web.negotiation import JSON, invalid_query
from service.web.nouns.stoppages import shown_suppositions
from service.web.paging import Place, make_cursor, of_this_list, read_cursor, say_next
from service.web.pointers import FieldError
from service.web.position_waits import view_of
from service.web.problems import ProblemError
from service.web.services import services

_Found = TypeVar("_Found")
_Item = TypeVar("_Item")
_NOT_FILTERS = frozenset({"cursor", "limit", "min_position"})


@dataclass(frozen=True, eq=False)
class Reading:
    """A state of the log, and the moment at which it is looked at.

    `view` is the log's head; `state`, `position` and `now_min` are its own or earlier ones.
    """

    studio: Studio
    view: View
    state: State
    position: int
    now_min: int

    def at(self, state: State, position: int, now_min: int) -> "Reading":
        """The same studio at another position and moment."""
        return Reading(self.studio, self.view, state, position, now_min)

    @cached_property
    def schedule(self) -> Schedule:
        """The plan."""
        view = self.view
        if self.state is view.state and self.now_min == view.now_min:
            return self.studio.planned(view)
        return self.studio.plans.of(self.state, self.now_min)

    @cached_property
    def standings(self) -> Standings:
        """Where its visits stand."""
        return Standings.of(self.schedule)

    @cached_property
    def standings_known(self) -> Standings:
        """The same where no plan can be made: what is known of visits, with nothing projected."""
        try:
            self.schedule.completed()
            return self.standings
        except PlanError:
            return Standings.of(unplanned(self.state, self.now_min))

    @property
    def now_us(self) -> int:
        """The moment, in microseconds since the epoch."""
        return self.now_min * US_PER_MIN


def read_now(args: Mapping[str, Any]) -> Reading:
    """The studio of the token as it stands, at the position that was asked for at least."""
    given = services()
    studio = given.studios.of(g.token.studio)
    view = view_of(studio, args.get("min_position", 0), given.waiting, g.token.token_id)
    return Reading(studio.warm, view, view.state, view.position, view.now_min)


def found(record: _Found | None, what: str) -> _Found:
    """A record that an address names. Raises ProblemError (404) where there is none."""
    if record is None:
        raise ProblemError("not-found", f"There is no {what} in the record.")
    return record


@dataclass(frozen=True)
class Page:
    """One page of a list: what it is read from, where it begins, and its query's filters.

    `limit` is how many were asked for; `most` how many of them it shows, where that is less.
    """

    reading: Reading
    offset: int
    limit: int
    filters: Mapping[str, Any]
    most: int | None = None

    @property
    def end(self) -> int:
        """Where in the list what follows begins."""
        return self.offset + (self.limit if self.most is None else self.most)

    def cut(self, items: Sequence[_Item]) -> Sequence[_Item]:
        """The items of this page."""
        return items[self.offset : self.end]

    def next_cursor(self, items: Sequence[object]) -> str | None:
        """The cursor of what follows, if more does."""
        return None if self.end >= len(items) else self.cursor_at(self.end)

    def cursor_at(self, offset: int) -> str:
        """The cursor of what follows a place in the list."""
        reading = self.reading
        place = Place(reading.position, reading.now_min, offset)
        return make_cursor(place, of_this_list(self.filters))

    def link_to(self, made: Response, cursor: str) -> None:
        """Say in an answer where what follows is to be had."""
        say_next(made, self.filters, self.limit, cursor)


def read_page(args: Mapping[str, Any], now: Callable[[Mapping[str, Any]], Reading] = read_now,
) -> Page:  # fmt: skip
    """A page of a list: of the state that `now` gives, or of the one its cursor names."""
    filters = {
        name: values
        for name in request.args
        if name not in _NOT_FILTERS
        for values in [request.args.getlist(name)]
    }
    reading = now(args)
    offset = 0
    if "cursor" in args:
        place = Place(*read_cursor(args["cursor"], of_this_list(filters), len(Place._fields)))
        offset = place.offset
        reading = _at(reading, place)
    return Page(reading, offset, args["limit"], filters)


def _at(reading: Reading, place: Place) -> Reading:
    if (place.position, place.now_min) == (reading.position, reading.now_min):
        return reading
    view = reading.view
    if place.position > view.position or place.now_min > view.now_min:
        detail = "This cursor is of a later state than there is; begin without one."
        raise invalid_query(FieldError("?cursor", detail, "wrong-cursor"))
    state = reading.studio.history.as_known_at(place.position)
    return reading.at(state, place.position, place.now_min)


def answer(
    reading: Reading, make: Callable[[], Shown | Sequence[Shown]], *also: object
) -> Response:
    """The answer under its tag; not even made where the asker has it already.

    It is one object with the members of all that `make` gives. `also` is what it depends on beside
    the log, the moment and the address.
    """

    def body() -> bytes:
        made = make()
        parts = (made,) if isinstance(made, Shown) else made
        return encoded(_stands(reading), *parts)

    return answer_as(reading, JSON, body, *also)


def _stands(reading: Reading) -> ReadShown:
    """Where an answer stands, and what it carries because of what its route says of itself."""
    route = description_here()
    supposed = route is not None and route.dates and suppositions(reading.state, reading.now_min)
    return ReadShown(
        position=reading.position,
        now=format_min(reading.now_min),
        suppositions=shown_suppositions(supposed.values()) if supposed else UNSET,
        cautions=route.cautions if route is not None and route.cautions else UNSET,
    )


def answer_as(
    reading: Reading, content_type: str, make: Callable[[], bytes], *also: object
) -> Response:
    """The same of another media type."""
    tag = negotiation.etag_of(
        g.token.studio,
        reading.position,
        reading.now_min,
        request.full_path,
        g.token.role,
        services().release,
        ZONE_DATA_VERSION,
        content_type,
        *also,
    )
    if negotiation.is_current(tag):
        return negotiation.with_etag(Response(content_type=content_type), tag)
    return negotiation.with_etag(Response(make(), content_type=content_type), tag)


def page_answer(
    page: Page,
    items: Sequence[_Item],
    show: Callable[[_Item], Shown],
    *also: object,
    beside: Shown | None = None,
) -> Response:
    """A page of items as an answer, with the link to what follows; `beside` has other members."""
    cursor = page.next_cursor(items)

    def make() -> list[Shown]:
        listed = ItemsShown(items=[show(item) for item in page.cut(items)], next=cursor or UNSET)
        return [listed] if beside is None else [beside, listed]

    made = answer(page.reading, make, *also)
    if cursor is not None:
        page.link_to(made, cursor)
    return made
