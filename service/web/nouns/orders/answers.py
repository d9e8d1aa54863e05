"""Change orders and quotes as JSON shows them."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from service.planning.compare.pricing import Quote, QuotedLine
from service.production.ordered import Order
from service.production.orders import (
    DECLINED,
    RAISED,
    STANDINGS,
    WITHDRAWN,
    differing,
    positions_behind,
)
from service.production.state import State, rate_of
from service.vocabulary.facts import Role
from service.vocabulary.facts.orders import CHANGES, ORDERED_BY
from service.vocabulary.facts.routes import GATES, UNITS
from service.vocabulary.instants import format_instant
from service.vocabulary.kinds import json_members
from service.vocabulary.money import money_text
from service.web.answers import (
    Day,
    Instant,
    Quantity,
    Shown,
    answer_of,
    extended,
    many,
    note,
    one_of,
    page_of,
)
from service.web.nouns.episodes.answers import FormatShown, shown_format
from service.web.nouns.impacts.answers import ImpactShown
from service.web.nouns.values import shown_e4, shown_on
from service.web.visibility import Concern

_WITH_TEXT = {RAISED: "/data/words", DECLINED: "/data/why", WITHDRAWN: "/data/why"}
POINTERS = frozenset({"/data/words", "/data/why"})
"""The personal members that an order shows."""


class LineAmountShown(Shown):
    """What a line comes to."""

    line: Annotated[int, note("Which line, counted from 1.")]
    amount: Annotated[str, note("Its amount, as decimal text; negative is a credit.")]


class OrderPriceShown(Shown):
    """The price that an order was given."""

    position: Annotated[int, note("The position of the log that the quote was made at.")]
    currency: Annotated[str, note("The currency (ISO 4217).")]
    lines: Annotated[list[LineAmountShown], note("The amount of each line.")]
    total: Annotated[str, note("Their sum, as decimal text.")]
    valid_until: Annotated[
        Day | None, note("The last day on which it can be approved so; null: not stated.")
    ]


class OrderStepShown(Shown):
    """One thing said of an order."""

    standing: Annotated[str, one_of(STANDINGS, "What the order was from then on.")]
    position: Annotated[int, note("The position of its event.")]
    at: Annotated[Instant, note("When it was said.")]
    poster: Annotated[str, note("The token that said it.")]
    role: Annotated[
        str | None, one_of(tuple(Role), "The role of that token; null: not kept.", none=True)
    ]


class OrderShown(Shown):
    """A priced bundle of changes that somebody asks for."""

    order: Annotated[str, note("Its code.")]
    subject: Annotated[str, note("The show or the episode.")]
    asked_by: Annotated[str, one_of(ORDERED_BY, "Who asks for it.")]
    words: Annotated[str | None, note("In the asker's own words; null where they were removed.")]
    standing: Annotated[str, one_of(STANDINGS, "Where it stands.")]
    line_count: Annotated[int, note("How many lines it has.")]
    steps: Annotated[list[OrderStepShown], note("What was said of it, in order of position.")]
    price: Annotated[OrderPriceShown | None, note("The price; null: none as yet.")]


class GateMoveShown(Shown):
    """A date that was agreed to move."""

    episode: Annotated[str, note("The episode.")]
    gate: Annotated[str, one_of(GATES, "The gate.")]
    due_on: Annotated[Day, note("The date agreed.")]


class WholeOrderShown(OrderShown):
    """An order with its lines."""

    lines: Annotated[list[Any], many("OrderLine", "The changes, as they were raised.")]
    gates: Annotated[list[GateMoveShown], note("The dates agreed to move with the approval.")]
    facts: Annotated[list[int], note("Positions of the facts that the approval recorded.")]
    why: Annotated[
        str | None, note("Why it was declined or withdrawn; null where nothing was said.")
    ]


class QuotedWorkShown(Shown):
    """A department's work because of a line."""

    department: Annotated[str, note("The department.")]
    unit: Annotated[str, one_of(UNITS, "Its unit.")]
    redone: Annotated[Quantity, note("Work of visits that are reopened.")]
    added: Annotated[Quantity, note("Work of new visits, and more work of visits not begun.")]
    dropped: Annotated[Quantity, note("Work no longer needed, of visits not begun.")]
    rate: Annotated[str, note("The price of one unit, as decimal text.")]


class QuotedLineShown(Shown):
    """What a line comes to, and from what."""

    line: Annotated[int, note("Which line, counted from 1.")]
    change: Annotated[str, one_of(CHANGES, "What it changes.")]
    items: Annotated[Sequence[str], note("What it is about.")]
    works: Annotated[
        list[QuotedWorkShown], note("The work by department, in the order of the line.")
    ]
    fee: Annotated[str | None, note("The stated fee, as decimal text; null: none.")]
    amount: Annotated[str, note("What it comes to, as decimal text; negative is a credit.")]


class FormatMovedShown(Shown):
    """An episode whose running total the order changes."""

    episode: Annotated[str, note("The episode.")]
    before: Annotated[FormatShown, note("Without the order.")]
    after: Annotated[FormatShown, note("With it.")]


class StaleLineShown(Shown):
    """A line whose money is another than in the recorded price."""

    line: Annotated[int, note("Which line, counted from 1.")]
    recorded: Annotated[str, note("The amount in the price.")]
    now: Annotated[str, note("The amount of this quote.")]


class QuoteShown(Shown):
    """An order's price as it would be now, and what the order would do."""

    order: Annotated[str, note("The order.")]
    show: Annotated[str, note("The show whose rate card prices it.")]
    at: Annotated[Instant, note("The moment of the quote; `time` of the event that records it.")]
    on: Annotated[Day, note("The studio's date then, which chooses the rate card.")]
    currency: Annotated[str, note("The currency (ISO 4217).")]
    credit: Annotated[Quantity, note("The share of the price credited for work no longer needed.")]
    lines: Annotated[list[QuotedLineShown], note("The lines; each follows those before it.")]
    total: Annotated[str, note("Their sum, as decimal text.")]
    price_is_stale: Annotated[
        bool | None, note("Whether the recorded price differs; null: there is none.")
    ]
    stale_lines: Annotated[list[StaleLineShown], note("Where it differs.")]
    lengths: Annotated[list[FormatMovedShown], note("Episodes whose running total changes.")]
    impact: Annotated[ImpactShown, note("What the whole order does to the plan, at this moment.")]


def concerns_of(order: Order) -> dict[int, Concern]:
    """What the events of an order that have text concern, by position."""
    return {
        step.position: Concern(f"change-order.{step.standing}")
        for step in order.steps
        if step.standing in _WITH_TEXT
    }


def shown_order(code: str, order: Order, texts: Mapping[int, Mapping[str, Any]]) -> OrderShown:
    """An order; its words are null where they are gone."""
    price = order.price
    return OrderShown(
        order=code,
        subject=order.subject,
        asked_by=order.asked_by,
        words=texts.get(order.steps[0].position, {}).get("/data/words"),
        standing=order.standing,
        line_count=len(order.lines),
        steps=[
            OrderStepShown(
                standing=step.standing,
                position=step.position,
                at=format_instant(step.at_us),
                poster=step.poster,
                role=step.role or None,
            )
            for step in order.steps
        ],
        price=None
        if price is None
        else OrderPriceShown(
            position=price.position,
            currency=price.currency,
            lines=[
                LineAmountShown(
                    line=number,
                    amount=money_text(amount),
                )
                for number, amount in enumerate(price.amounts, 1)
            ],
            total=money_text(price.total),
            valid_until=shown_on(price.valid_until),
        ),
    )


def shown_order_whole(
    code: str, order: Order, texts: Mapping[int, Mapping[str, Any]]
) -> WholeOrderShown:
    """An order with its lines, and with the positions of the facts that approving it recorded."""
    last = order.steps[-1]
    return extended(
        WholeOrderShown,
        shown_order(code, order, texts),
        lines=[json_members(line) for line in order.lines],
        gates=[
            GateMoveShown(episode=move.episode, gate=move.gate, due_on=shown_on(move.due_on))
            for move in order.gates
        ],
        facts=list(positions_behind(order)),
        why=texts.get(last.position, {}).get("/data/why"),
    )


def shown_quote(
    quote: Quote, order: Order, at_us: int, lengths: list[FormatMovedShown], impact: ImpactShown
) -> QuoteShown:
    """A quote, where the recorded price is another, and what carrying the order out would do."""
    stale = [] if order.price is None else differing(order.price, quote)
    return QuoteShown(
        order=quote.order,
        show=quote.show,
        at=format_instant(at_us),
        on=shown_on(quote.on),
        currency=quote.currency,
        credit=shown_e4(quote.credit_e4),
        lines=[_shown_line(line) for line in quote.lines],
        total=money_text(quote.total),
        price_is_stale=None if order.price is None else bool(stale),
        stale_lines=[
            StaleLineShown(line=number, recorded=money_text(was), now=money_text(now))
            for number, was, now in stale
        ],
        lengths=lengths,
        impact=impact,
    )


def _shown_line(line: QuotedLine) -> QuotedLineShown:
    return QuotedLineShown(
        line=line.number,
        change=line.change,
        items=list(line.items),
        works=[
            QuotedWorkShown(
                department=work.department,
                unit=work.unit,
                redone=shown_e4(work.redone_e4),
                added=shown_e4(work.added_e4),
                dropped=shown_e4(work.dropped_e4),
                rate=money_text(work.rate),
            )
            for work in line.works
        ],
        fee=None if line.fee is None else money_text(line.fee),
        amount=money_text(line.amount),
    )


def shown_lengths(before: State, after: State) -> list[FormatMovedShown]:
    """Episodes whose running total is another, before and after, beside their format lengths."""
    return [
        FormatMovedShown(
            episode=name,
            before=shown_format(before.episodes[name], rate_of(before, name)),
            after=shown_format(episode, rate_of(after, name)),
        )
        for name, episode in sorted(after.episodes.items())
        if episode.scene_frames != before.episodes[name].scene_frames
    ]


ORDERS = page_of(OrderShown, "ChangeOrdersPage")
ORDER = answer_of(WholeOrderShown, "ChangeOrderAnswer")
QUOTE = answer_of(QuoteShown, "QuoteAnswer")
