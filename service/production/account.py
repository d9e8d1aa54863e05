"""The account of retakes: what each call had redone, where, for whom, and at what cost.

What is counted is the work that calls added, as the record now has it. A take that a call opened
asks for a share of the item's base work (of what was done, where the take before was taken back
from its desk), at least the department's least, all of it where the department does the whole
again; what was left over from a take taken back is that take's work and not counted again. Several
calls that one take answers share its work in proportion to the shares they asked for. What a
refused hand-off has done anew nobody called, so it is not counted; what is called after it is, as
far as it comes on top. A call that was withdrawn, or bought as is, counts with what stands of it:
takes begun, and those that must follow them. Of a scene that is omitted, or in a delivered episode,
what was begun counts, and what scenes in the picture still need of it.
"""

from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from service.production.cards import card_valid, studio_date
from service.production.lending import Lending
from service.production.route import APPROVAL
from service.production.state import AnyState, RateCard, Retake, item_of, visit_of
from service.production.takes import Take, Terms, settled_work_e4, take_work_e4
from service.production.work import crew_at, terms_for, terms_of_take
from service.vocabulary.identifiers import natural_order, parse_subject
from service.vocabulary.instants import US_PER_MIN
from service.vocabulary.money import rounded
from service.vocabulary.quantities import ONE_E4, ceil_div

Key = tuple[str, int, str]  # department, its place in the line, episode ("" for an element)


class AccountRow(NamedTuple):
    """What one call had redone in one department, in one episode.

    `episode` is None for elements, which several episodes may share. `department` is None where
    nothing was redone at all; `episode` is then that of what the call was said of. `artist_days_e4`
    is None where the department had no crew on the day of the call, `cost` where the card of that
    day has no rate for it.
    """

    code: str
    retake: Retake
    show: str
    called_on: date | None
    episode: str | None
    department: str | None
    unit: str | None
    visits: int
    work_e4: int
    artist_days_e4: int | None
    rate: Decimal | None
    currency: str | None
    cost: Decimal | None

    @property
    def month(self) -> str | None:
        """The month of the call in the studio's zone, YYYY-MM."""
        return None if self.called_on is None else self.called_on.strftime("%Y-%m")

    @property
    def unpriced(self) -> bool:
        """Whether there is work that no rate gives a price to."""
        return self.department is not None and self.cost is None


def added_work(take: Take, terms: Terms, settled: Terms) -> dict[str, int]:
    """What each call added to a take's work, in ten-thousandths of the department's unit.

    `terms` are those of the take, `settled` those by which it was handed off when that was refused.
    Before any refused hand-off the parts and `carried_e4` add up to the take's work exactly.
    """
    parts: dict[str, int] = {}
    if take.settled < 0:
        _divide(take.shares, take_work_e4(take, terms) - take.carried_e4, parts)
        return parts
    first, _ = settled_work_e4(take, settled)
    _, again = settled_work_e4(take, terms)
    _divide(take.shares[: take.settled], first - take.carried_e4, parts)
    _divide(take.shares[take.settled :], take_work_e4(take, terms) - again, parts)
    return parts


def _divide(shares: tuple[tuple[str, int], ...], work_e4: int, parts: dict[str, int]) -> None:
    """Divide work in proportion to shares: each is what the sum rises by, rounded down."""
    whole = sum(share for _, share in shares)
    shares_e4 = given = 0
    for code, share in shares:
        shares_e4 += share
        until = work_e4 * shares_e4 // whole
        parts[code] = parts.get(code, 0) + until - given
        given = until


def account(state: AnyState, codes: Iterable[str]) -> Iterator[AccountRow]:
    """The rows of some retakes, in the order they are given; by department, then by episode."""
    lending = Lending(state)
    for code in codes:
        retake = state.retakes[code]
        yield from _rows(state, code, retake, _redone(state, code, retake, lending))


class _Redone:
    """Visits and work of one row, as they are counted."""

    __slots__ = ("unit", "visits", "work_e4")

    def __init__(self, unit: str) -> None:
        self.unit, self.visits, self.work_e4 = unit, 0, 0


def _redone(state: AnyState, code: str, retake: Retake, lending: Lending) -> dict[Key, _Redone]:
    found: dict[Key, _Redone] = {}
    for (name, department), takes in _takes(state, code, retake, lending).items():
        if department == APPROVAL:
            continue  # nobody works at it
        item = item_of(state, name)
        if item is None:
            raise LookupError(name)
        scene = state.scenes.get(name)
        episode = name if name in state.episodes else scene.episode if scene else ""
        key = (department, item.route.rank[department], episode)
        redone = found.get(key)
        if redone is None:
            redone = found[key] = _Redone(item.route.departments[department].unit)
        redone.visits += 1
        for take in takes:
            terms = terms_of_take(state, item, department, take)
            settled = (
                terms if take.settled < 0 else terms_for(state, item, department, take.settled_us)
            )
            redone.work_e4 += added_work(take, terms, settled)[code]
    return found


def _takes(
    state: AnyState, code: str, retake: Retake, lending: Lending
) -> dict[tuple[str, str], list[Take]]:
    """The takes that a retake asked for, by visit."""
    found = {}
    for node in dict.fromkeys(step.node for step in retake.reach):
        takes = [
            take
            for take in visit_of(state, *node).takes
            if take.shares
            and any(called == code for called, _ in take.shares)
            and (take.begun or lending.needs(*node))
        ]
        if takes:
            found[node] = takes
    return found


def _rows(
    state: AnyState, code: str, retake: Retake, redone: dict[Key, _Redone]
) -> Iterator[AccountRow]:
    subject = parse_subject(retake.subject)
    show = "" if subject is None or subject.show is None else subject.show
    episode = None if subject is None else subject.episode or None
    on = studio_date(state, retake.called_us)
    card = card_valid(state, show, on)
    currency = None if card is None else card.currency
    if not redone:
        none = None if card is None else rounded(Decimal(0), card.currency)
        yield AccountRow(
            code, retake, show, on, episode, None, None, 0, 0, 0, None, currency, none
        )  # fmt: skip
        return
    keys = sorted(redone, key=lambda key: (key[1], key[0], natural_order(key[2])))
    costs = _costs(card, [(key[0], redone[key].work_e4) for key in keys])
    for key, cost in zip(keys, costs, strict=True):
        department, _, of_episode = key
        redone_there = redone[key]
        yield AccountRow(
            code=code,
            retake=retake,
            show=show,
            called_on=on,
            episode=of_episode or None,
            department=department,
            unit=redone_there.unit,
            visits=redone_there.visits,
            work_e4=redone_there.work_e4,
            artist_days_e4=_artist_days_e4(
                state, department, retake.called_us, redone_there.work_e4
            ),
            rate=None if card is None else card.rate(department),
            currency=currency,
            cost=cost,
        )


def _costs(card: RateCard | None, works: list[tuple[str, int]]) -> Iterator[Decimal | None]:
    """What each part of the work costs.

    A department's whole is rounded once, half to even; its parts are what the rounded sum rises
    by, so that they add up to it.
    """
    exact: dict[str, Decimal] = {}
    for department, work_e4 in works:
        rate = None if card is None else card.rate(department)
        if card is None or rate is None:
            yield None
            continue
        before = exact.get(department, Decimal(0))
        exact[department] = before + rate * work_e4 / ONE_E4
        yield rounded(exact[department], card.currency) - rounded(before, card.currency)


def _artist_days_e4(state: AnyState, department: str, at_us: int, work_e4: int) -> int | None:
    """Artist-days of work at the rate of the crew in force at an instant, rounded up."""
    crew = crew_at(state, department, at_us // US_PER_MIN)
    if crew is None or crew.rate_e4 == 0:
        return None
    return ceil_div(work_e4 * ONE_E4, crew.rate_e4)
