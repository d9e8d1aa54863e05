"""What one recorded event changed for one episode: visits, and its projected delivery."""

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from service.planning.compare.trail import MOVES_NO_DATE
from service.planning.plan.gates import gate_standing
from service.planning.plan.met import meeting_of
from service.planning.plan.schedule import Schedule
from service.production.state import State
from service.production.takes import Phase, Take
from service.production.visits import UNVISITED, Visit
from service.vocabulary.event import Event
from service.vocabulary.facts import orders, rates, record

_NOT_PLANNED = MOVES_NO_DATE | {
    rates.RateSet,
    record.TextForgotten,
    orders.ChangeOrderRaised,
    orders.ChangeOrderPriced,
    orders.ChangeOrderApproved,  # the facts that an approval records stand behind it
    orders.ChangeOrderDeclined,
    orders.ChangeOrderWithdrawn,
}
_WORDS = {
    Phase.WAITING: "in_tray_again",
    Phase.ON_DESK: "started",
    Phase.HANDED_OFF: "handed_off",
    Phase.TAKEN_BACK: "taken_back",
}
REOPENED, CANCELLED, MORE_WORK, LESS_WORK = "reopened", "cancelled", "more_work", "less_work"
HANDED_OUT, HAND_OUT_WITHDRAWN = "handed_out", "hand_out_withdrawn"
ARTIST_CHANGED, DATED_ANEW = "artist_changed", "dated_anew"
CHANGES = (
    *_WORDS.values(), REOPENED, CANCELLED, MORE_WORK, LESS_WORK,
    HANDED_OUT, HAND_OUT_WITHDRAWN, ARTIST_CHANGED, DATED_ANEW,
)  # fmt: skip


class TakeChange(NamedTuple):
    """What became of one take of a visit, in one of CHANGES."""

    item: str
    department: str
    take: int
    change: str


class Delivery(NamedTuple):
    """An episode's projected delivery and its margin in working days; None where it has none.

    `is_open` while something that meets it is not handed off: then the date is a projection. None
    where there is no such episode.
    """

    on: date | None
    margin_workdays: int | None
    is_open: bool | None


def moves_plans(event: Event) -> bool:
    """Whether a plan can depend on an event."""
    return type(event.fact) not in _NOT_PLANNED


def delivery(planned: Schedule, episode: str) -> Delivery:
    """An episode's delivery by a plan."""
    standing = gate_standing(planned, episode, "delivery")
    is_open = None
    if episode in planned.state.episodes:
        meeting = meeting_of(planned.board, episode, "delivery")
        is_open = meeting is None or meeting.stands_us < 0
    return Delivery(standing.projected_on, standing.margin_workdays, is_open)


def changed_takes(before: State, after: State, items: Iterable[str]) -> list[TakeChange]:
    """What became of the takes of some items between two states, in the items' order."""
    found = []
    for item in items:
        was, will = before.visits.get(item), after.visits.get(item)
        if was is will:
            continue
        departments = dict.fromkeys([*(was or ()), *(will or ())])
        for department in sorted(departments):
            old = UNVISITED if was is None else was.get(department, UNVISITED)
            new = UNVISITED if will is None else will.get(department, UNVISITED)
            if old is not new:
                found += _changes(item, department, old, new)
    return found


def _changes(item: str, department: str, old: Visit, new: Visit) -> list[TakeChange]:
    """By take: what is new or gone, or the last that can be said of how it differs."""
    changes = []
    for place in range(max(len(old.takes), len(new.takes))):
        number = place + 1
        if place >= len(new.takes):
            change = CANCELLED
        elif place >= len(old.takes):
            change = REOPENED
        else:
            was, will = old.takes[place], new.takes[place]
            if was.phase is not will.phase:
                change = _WORDS[will.phase]
            elif set(was.shares) != set(will.shares):
                change = MORE_WORK if len(will.shares) > len(was.shares) else LESS_WORK
            elif was == will:
                continue
            else:
                change = _of_the_same(was, will)
        changes.append(TakeChange(item, department, number, change))
    return changes


def _of_the_same(was: Take, will: Take) -> str:
    """How two takes differ that are at the same place with the same work."""
    if was.artist == will.artist or (was.started_us, was.ended_us) != (
        will.started_us,
        will.ended_us,
    ):
        return DATED_ANEW
    if will.phase is not Phase.WAITING:
        return ARTIST_CHANGED
    return HANDED_OUT if will.artist is not None else HAND_OUT_WITHDRAWN
