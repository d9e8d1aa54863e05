"""What an order costs: the work its lines make and save, by the rate card in force."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal, localcontext
from typing import NamedTuple

from service.planning.board.changes import StateEntries
from service.planning.board.reframe import needed_otherwise
from service.planning.compare.impact import line_rank
from service.production.cards import card_valid, studio_date
from service.production.decide import carried_out
from service.production.lending import Lending
from service.production.orders import items_of
from service.production.records import RateCard
from service.production.refusal import Code, Reason, Refusal
from service.production.route import APPROVAL
from service.production.state import State, departments_of, item_of, visit_of
from service.production.takes import Take
from service.production.work import work_of_take_e4
from service.vocabulary.facts.orders import OrderLine
from service.vocabulary.money import rounded
from service.vocabulary.quantities import ONE_E4

DIGITS = 60
"""Enough that nothing is rounded before the line is."""


class QuotedWork(NamedTuple):
    """A department's work because of one line, in its unit: done again, new, and spared."""

    department: str
    unit: str
    redone_e4: int
    added_e4: int
    dropped_e4: int
    rate: Decimal


class QuotedLine(NamedTuple):
    """What one line comes to; `number` counts from 1."""

    number: int
    change: str
    items: tuple[str, ...]
    works: tuple[QuotedWork, ...]
    fee: Decimal | None
    amount: Decimal


class Quote(NamedTuple):
    """An order's price at a position and moment, by the rate card in force on that date."""

    order: str
    show: str
    currency: str
    credit_e4: int
    on: date
    position: int
    lines: tuple[QuotedLine, ...]
    total: Decimal

    @property
    def amounts(self) -> tuple[Decimal, ...]:
        """The amount of each line."""
        return tuple(line.amount for line in self.lines)


class Work(NamedTuple):
    """A department's work that a change makes and saves, in ten-thousandths of its unit."""

    redone_e4: int = 0
    added_e4: int = 0
    dropped_e4: int = 0

    def plus(self, other: "Work") -> "Work":
        """The sum of both."""
        return Work(*map(sum, zip(self, other, strict=True)))


def quote(state: State, code: str, position: int, at_us: int) -> Quote | Refusal:
    """The quote of an order on a state of the log at a position, at a moment.

    Each line is applied to what the lines before it leave. Refused, with reasons that name members
    of the order, where no card is in force, where it has no rate for work that there is, or where a
    line could not be carried out. Raises KeyError for an order that is not in the state.
    """
    order = state.orders[code]
    on = studio_date(state, at_us)
    card = card_valid(state, order.show, on)
    if on is None or card is None:
        then = "" if on is None else f" on {on}"
        detail = f"{order.show} has no rate card in force{then}; set one first"
        return Refusal((Reason(Code.UNKNOWN, detail, "/data/order"),))
    states = carried_out(state, code, position, at_us)
    if isinstance(states, Refusal):
        return states
    lines: list[QuotedLine] = []
    reasons: list[Reason] = []
    before = state
    for number, (line, after) in enumerate(zip(order.lines, states, strict=True), 1):
        priced = _line(before, after, number, line, card)
        if isinstance(priced, QuotedLine):
            lines.append(priced)
        else:
            reasons += priced
        before = after
    if reasons:
        return Refusal(tuple(reasons))
    with localcontext(prec=DIGITS):
        total = sum((line.amount for line in lines), rounded(Decimal(0), card.currency))
    quoted_lines = tuple(lines)
    return Quote(code, order.show, card.currency, card.credit_e4, on, position, quoted_lines, total)


def quoted(state: State, code: str, at_us: int) -> Quote | Refusal:
    """The same for the rules, which ask for figures alone: money does not depend on positions."""
    return quote(state, code, _LATER, at_us)


_LATER = 2**53
"""Behind every position of a log."""


def _line(
    before: State, after: State, number: int, line: OrderLine, card: RateCard
) -> QuotedLine | list[Reason]:
    works: list[QuotedWork] = []
    reasons: list[Reason] = []
    changed = works_between(before, after)
    for department in sorted(changed, key=lambda name: line_rank(after, name)):
        rate = card.rate(department)
        if rate is None:
            detail = f"the rate card has no rate for {department}; set one that has"
            reasons.append(Reason(Code.UNKNOWN, detail, f"/data/lines/{number - 1}"))
        else:
            works.append(
                QuotedWork(department, after.units[department], *changed[department], rate)
            )
    if reasons:
        return reasons
    all_works = tuple(works)
    amount = _amount(all_works, line.amount, card)
    return QuotedLine(number, line.change, items_of(line), all_works, line.amount, amount)


def _amount(works: tuple[QuotedWork, ...], fee: Decimal | None, card: RateCard) -> Decimal:
    """What a line costs: its fee, and for each department its rate times the work.

    That is what is redone and added, less the part of what is dropped that the card credits. It is
    exact until it is rounded, once.
    """
    one = Decimal(ONE_E4)
    with localcontext(prec=DIGITS):
        amount = fee or Decimal(0)
        for work in works:
            credited = Decimal(work.dropped_e4) * card.credit_e4 / one
            amount += (work.redone_e4 + work.added_e4 - credited) * work.rate / one
        return rounded(amount, card.currency)


def works_between(before: State, after: State) -> dict[str, Work]:
    """The work, by department, that lies between two states of which one follows the other."""
    found: dict[str, Work] = {}
    was, will = StateEntries.of(before), StateEntries.of(after)
    records = was.changed_records(will)
    changed = {*records, *was.changed_visits(will), *needed_otherwise(before, after, records)}
    lending = (Lending(before), Lending(after))
    for item in changed:
        for department, work in _works_of(before, after, item, lending):
            found[department] = found.get(department, Work()).plus(work)
    return {name: work for name, work in found.items() if any(work)}


def _works_of(
    before: State, after: State, item: str, lending: tuple[Lending, Lending]
) -> Iterator[tuple[str, Work]]:
    departments: dict[str, None] = {}
    for state in (before, after):
        record = item_of(state, item)
        if record is not None:
            departments |= dict.fromkeys(departments_of(record))
    departments.pop(APPROVAL, None)  # nobody works at it
    for department in departments:
        was = _open(before, item, department, lending[0])
        yield department, _work(was, _open(after, item, department, lending[1]))


class _Open(NamedTuple):
    """A visit that no omission drops: its newest take, and the work that this asks for."""

    take: Take
    work_e4: int


def _open(state: State, item: str, department: str, lending: Lending) -> _Open | None:
    record = item_of(state, item)
    if record is None or department not in departments_of(record):
        return None
    if lending.drops(item, department):
        return None
    take = visit_of(state, item, department).current
    return _Open(take, work_of_take_e4(state, record, department, take))


def _work(was: _Open | None, will: _Open | None) -> Work:
    """What a visit has more or less to do; what has begun is neither credited nor charged again.

    What is redone is the work of the take that was opened, without what it carries over from the
    one before.
    """
    if was is None or will is None:
        spared = 0 if was is None or was.take.begun else was.work_e4
        new = 0 if will is None or will.take.begun else will.work_e4
        return Work(0, new, spared)
    if will.take.number > was.take.number:
        # what was left over from a take that is taken back had to be done anyhow
        return Work(redone_e4=will.work_e4 - will.take.carried_e4)
    more_e4 = will.work_e4 - was.work_e4
    if will.take.shares != was.take.shares:
        return Work(redone_e4=more_e4)
    return Work() if will.take.begun else Work(0, max(0, more_e4), max(0, -more_e4))
