"""A visit: what happened to it, and the one table of legal moves.

What is recorded of a visit is a short list of entries. Takes follow from it by one pass in order
of time, so that a fact recorded late dates the visit as if it had come in time: a start that
turns out to lie before a retake's call makes that call reopen the visit.
"""

from bisect import bisect_right
from collections.abc import Callable
from enum import StrEnum
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from service.production.takes import Phase, Take, Terms, made_e4, take_work_e4
from service.vocabulary.instants import NOT_YET_US
from service.vocabulary.quantities import ONE_E4


class Move(StrEnum):
    """What can happen to a visit."""

    __hash__ = str.__hash__

    HAND_OUT = "hand_out"
    WITHDRAW = "withdraw"
    START = "start"
    HAND_OFF = "hand_off"
    REFUSE = "refuse"
    OMIT = "omit"
    CALL = "call"
    UNCALL = "uncall"


# (phase of the take open then, move) -> phase of that take afterwards; a pair that is not here is
# refused. A call on a take that was begun opens the next one; on one that was not, it is absorbed.
MOVES: dict[tuple[Phase, Move], Phase] = {
    (Phase.WAITING, Move.HAND_OUT): Phase.WAITING,
    (Phase.WAITING, Move.WITHDRAW): Phase.WAITING,
    (Phase.WAITING, Move.START): Phase.ON_DESK,
    (Phase.WAITING, Move.HAND_OFF): Phase.HANDED_OFF,
    (Phase.WAITING, Move.OMIT): Phase.WAITING,
    (Phase.WAITING, Move.CALL): Phase.WAITING,
    (Phase.WAITING, Move.UNCALL): Phase.WAITING,
    (Phase.ON_DESK, Move.HAND_OUT): Phase.ON_DESK,
    (Phase.ON_DESK, Move.HAND_OFF): Phase.HANDED_OFF,
    (Phase.ON_DESK, Move.OMIT): Phase.WAITING,
    (Phase.ON_DESK, Move.CALL): Phase.TAKEN_BACK,
    (Phase.ON_DESK, Move.UNCALL): Phase.ON_DESK,
    (Phase.HANDED_OFF, Move.REFUSE): Phase.WAITING,
    (Phase.HANDED_OFF, Move.OMIT): Phase.HANDED_OFF,
    (Phase.HANDED_OFF, Move.CALL): Phase.HANDED_OFF,
    (Phase.HANDED_OFF, Move.UNCALL): Phase.HANDED_OFF,
}


# made by the hundred thousand: structs are made fastest, and none is part of a circle
class Entry(Struct, frozen=True, gc=False, array_like=True):
    """One thing that happened to a visit.

    `rank` orders what happened in the same instant: what desks say comes before what is called in
    it (a fact whose time is not after a call's counts as before it), unless only the call makes it
    possible.
    """

    at_us: int
    rank: int
    position: int
    move: Move
    take: int | None = None
    artist: str | None = None
    retake: str | None = None
    share_e4: int = ONE_E4


DESK_RANK, CALL_RANK, AFTER_CALL_RANK = 0, 1, 2
DESK_MOVES = frozenset({Move.HAND_OUT, Move.WITHDRAW, Move.START, Move.HAND_OFF, Move.REFUSE})
_HAND_OUT, _START, _HAND_OFF, _REFUSE = Move.HAND_OUT, Move.START, Move.HAND_OFF, Move.REFUSE
_PHASE_AFTER = {
    move: {before: after for (before, met), after in MOVES.items() if met is move} for move in Move
}


class Visit(Struct, frozen=True, gc=False, array_like=True):
    """All takes of one item at one department, and the entries they follow from."""

    takes: tuple[Take, ...]
    entries: tuple[Entry, ...]

    @property
    def current(self) -> Take:
        """The newest take."""
        return self.takes[-1]

    def take_open(self, at_us: int) -> Take:
        """The take that was open at an instant; one that a call opens just then was not yet."""
        for take in reversed(self.takes):
            if take.opened_us < at_us:
                return take
        return self.takes[0]


FIRST_OPENED_US = -(2**62)
UNVISITED = Visit((Take(1, Phase.WAITING, FIRST_OPENED_US),), ())


class Illegal(NamedTuple):
    """An entry that the table of moves refuses, and the take it would have met."""

    entry: Entry
    take: Take


# terms(at_us) -> the department's terms for the item as it was at an instant
TermsAt = Callable[[int], Terms]
# remaining(take, terms, at_us) -> work left of a take on a desk, by the calendar known
Remaining = Callable[[Take, Terms, int], int]


def enter(visit: Visit, entry: Entry, terms: TermsAt, remaining: Remaining) -> Visit | Illegal:
    """The visit with one more entry in its place by time, or what the table of moves says to it."""
    entered = _enter(visit, entry, terms, remaining)
    if (
        isinstance(entered, Illegal)
        and entered.entry is entry
        and entry.rank == DESK_RANK
        and any(other.move is Move.CALL and other.at_us == entry.at_us for other in visit.entries)
    ):
        # the take it means was opened by a call of that very instant
        after = _enter(visit, replace(entry, rank=AFTER_CALL_RANK), terms, remaining)
        return entered if isinstance(after, Illegal) else after
    return entered


def enter_desk(visit: Visit, entry: Entry) -> Visit | None:
    """The visit with one more entry of a desk that comes after all others: the short way.

    Most of a log is this. None where it has to be entered the long way, or is refused.
    """
    entries = visit.entries
    if entries and entry.at_us <= entries[-1].at_us:
        return None
    takes = visit.takes
    take = takes[-1]
    if entry.take is not None and entry.take != take.number:
        return None
    phase = _PHASE_AFTER[entry.move].get(take.phase)
    if phase is None:
        return None
    moved = _moved(take, entry, phase)
    return Visit((moved,) if len(takes) == 1 else (*takes[:-1], moved), (*entries, entry))


def _enter(visit: Visit, entry: Entry, terms: TermsAt, remaining: Remaining) -> Visit | Illegal:
    entries = visit.entries
    # nearly every fact comes after the last: the instant alone says so
    if not entries or entry.at_us > entries[-1].at_us or _key(entry) >= _key(entries[-1]):
        takes = _step(visit.takes, entry, terms, remaining)
        return takes if isinstance(takes, Illegal) else Visit(takes, (*entries, entry))
    place = bisect_right(entries, _key(entry), key=_key)
    return replay((*entries[:place], entry, *entries[place:]), terms, remaining)


def replay(entries: tuple[Entry, ...], terms: TermsAt, remaining: Remaining) -> Visit | Illegal:
    """The visit that entries in order of time add up to."""
    takes = UNVISITED.takes
    for entry in entries:
        stepped = _step(takes, entry, terms, remaining)
        if isinstance(stepped, Illegal):
            return stepped
        takes = stepped
    return Visit(takes, entries)


def _key(entry: Entry) -> tuple[int, int, int]:
    return entry.at_us, entry.rank, entry.position


def _step(
    takes: tuple[Take, ...], entry: Entry, terms: TermsAt, remaining: Remaining
) -> tuple[Take, ...] | Illegal:
    take = takes[-1]
    move = entry.move
    phase = _PHASE_AFTER[move].get(take.phase)
    if phase is None or (entry.take is not None and entry.take != take.number):
        return Illegal(entry, take)
    if move is Move.CALL:
        return _called(takes, entry, phase, terms, remaining)
    if move is Move.UNCALL:
        return _uncalled(takes, entry)
    return (*takes[:-1], _moved(take, entry, phase))


def _moved(take: Take, entry: Entry, phase: Phase) -> Take:
    """A take after what a desk did with it, or an omission."""
    move = entry.move
    if move is _HAND_OUT:
        return replace(take, artist=entry.artist)
    if move is _START:
        artist = entry.artist or take.artist
        return replace(take, phase=phase, started_us=entry.at_us, artist=artist)
    if move is _HAND_OFF:
        started_us = take.started_us if take.started_us >= 0 else entry.at_us
        return replace(take, phase=phase, started_us=started_us, ended_us=entry.at_us)
    if move is _REFUSE:
        return replace(
            take, phase=phase, started_us=NOT_YET_US, ended_us=NOT_YET_US, artist=None,
            goes_on_e4=entry.share_e4, settled=len(take.shares), settled_us=take.ended_us,
        )  # fmt: skip
    if take.phase is Phase.ON_DESK or move is Move.WITHDRAW:  # omitted, or given back
        return replace(take, phase=phase, started_us=NOT_YET_US, artist=None)
    return take


def _called(
    takes: tuple[Take, ...],
    entry: Entry,
    phase: Phase,
    terms: TermsAt,
    remaining: Remaining,
) -> tuple[Take, ...]:
    take = takes[-1]
    share = (entry.retake or "", entry.share_e4)
    if take.phase is Phase.WAITING:
        if take.number == 1 and not take.begun:
            return takes  # a first take not yet begun is only later
        if any(retake == share[0] for retake, _ in take.shares):
            # heard of again, when the retake grows: what is touched more counts
            shares = tuple(
                (retake, max(share_e4, share[1])) if retake == share[0] else (retake, share_e4)
                for retake, share_e4 in take.shares
            )
            return (*takes[:-1], replace(take, shares=shares))
        return (*takes[:-1], replace(take, shares=(*take.shares, share)))
    opened = Take(take.number + 1, Phase.WAITING, entry.at_us, shares=(share,))
    if take.phase is Phase.ON_DESK:
        then = terms(entry.at_us)
        carried = remaining(take, then, entry.at_us)
        done = max(0, take_work_e4(take, then) - carried)
        opened = replace(opened, carried_e4=carried, basis_e4=made_e4(take, done, then))
        take = replace(take, phase=phase, ended_us=entry.at_us)
    return (*takes[:-1], take, opened)


def _uncalled(takes: tuple[Take, ...], entry: Entry) -> tuple[Take, ...]:
    """Without a retake's share; what is left of a take that was taken back is still to be done."""
    take = takes[-1]
    if take.phase is not Phase.WAITING:
        return takes
    settled = max(0, take.settled)
    left = [share for share in take.shares[settled:] if share[0] != entry.retake]
    shares = (*take.shares[:settled], *left)
    if len(shares) == len(take.shares):
        return takes
    if shares or take.begun or takes[-2].phase is Phase.TAKEN_BACK:
        # what was taken back from a desk is still to be handed off, however little is left of it
        return (*takes[:-1], replace(take, shares=shares))
    return takes[:-1]
