"""The takes of a visit, and the work that each asks for."""

from enum import StrEnum
from typing import NamedTuple

from msgspec import Struct

from service.vocabulary.instants import NOT_YET_US
from service.vocabulary.quantities import ONE_E4, ceil_div


class Phase(StrEnum):
    """Where one take stands, apart from what other visits say about it."""

    __hash__ = str.__hash__  # the fold looks moves up by the hundred thousand

    WAITING = "waiting"
    ON_DESK = "on_desk"
    HANDED_OFF = "handed_off"
    TAKEN_BACK = "taken_back"


WHOLE, NONE_REFUSED = -1, -1
"""What `basis_e4` and `settled` of a take are where they are no amount and no count."""


class Take(Struct, frozen=True, gc=False, array_like=True):
    """One take of a visit. Instants are microseconds since the epoch, or NOT_YET_US.

    `carried_e4` is work left over from a take that was taken back; `basis_e4` is what the shares
    apply to: WHOLE for the item's whole base work, else as much of it as had been made where no
    take was handed off before. After a refused hand-off `goes_on_e4` is the share of the work to do
    again, `settled` how many of the shares that covers, and `settled_us` when what was refused had
    been handed off. NONE_REFUSED stands for `settled` where nothing was refused.
    """

    number: int
    phase: Phase
    opened_us: int
    started_us: int = NOT_YET_US
    ended_us: int = NOT_YET_US
    artist: str | None = None
    shares: tuple[tuple[str, int], ...] = ()
    carried_e4: int = 0
    basis_e4: int = WHOLE
    goes_on_e4: int = ONE_E4
    settled: int = NONE_REFUSED
    settled_us: int = NOT_YET_US

    @property
    def begun(self) -> bool:
        """Whether a desk has had it; one that an omission put back in the tray counts as new."""
        return self.phase is not Phase.WAITING or self.settled >= 0

    def took_up(self, retake: str) -> bool:
        """Whether a desk has had it with this retake's share in it."""
        count = len(self.shares) if self.phase is not Phase.WAITING else max(0, self.settled)
        return any(code == retake for code, _ in self.shares[:count])


class Terms(NamedTuple):
    """What a department's terms make of a take's work, in ten-thousandths of its unit."""

    base_e4: int
    least_e4: int
    whole: bool


def take_work_e4(take: Take, terms: Terms) -> int:
    """The work a take asks for in full, in ten-thousandths of the department's unit."""
    if take.settled < 0:
        return _asked_e4(take, take.shares, terms)
    _, again = settled_work_e4(take, terms)
    later = sum(share for _, share in take.shares[take.settled :])
    if later == 0:
        return again
    most = max(again, terms.base_e4)
    return most if terms.whole else min(most, again + ceil_div(terms.base_e4 * later, ONE_E4))


def settled_work_e4(take: Take, terms: Terms) -> tuple[int, int]:
    """Of a take whose hand-off was refused: what it had asked for, and what of it is done again."""
    work = _asked_e4(take, take.shares[: take.settled], terms)
    return work, ceil_div(work * take.goes_on_e4, ONE_E4)


def _asked_e4(take: Take, shares: tuple[tuple[str, int], ...], terms: Terms) -> int:
    if take.number == 1:
        return terms.base_e4
    if not shares:
        return take.carried_e4
    most = max(take.carried_e4, terms.base_e4)
    if terms.whole:
        return max(most, terms.least_e4)
    basis = terms.base_e4 if take.basis_e4 < 0 else take.basis_e4
    share = min(ONE_E4, sum(share for _, share in shares))
    work = take.carried_e4 + ceil_div(basis * share, ONE_E4)
    return max(min(work, most), terms.least_e4)


def made_e4(take: Take, done_e4: int, terms: Terms) -> int:
    """How much of an item is there for a call to touch, when a take is taken back from its desk.

    WHOLE, once it was handed off: a share is of the item, however little the take on the
    desk was. Before that, what the takes so far have made.
    """
    if take.settled >= 0 or (take.number > 1 and take.basis_e4 < 0):
        return WHOLE
    before = 0 if take.number == 1 else take.basis_e4
    return min(terms.base_e4, before + done_e4)
