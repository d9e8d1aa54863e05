"""Change orders, from raised to decided."""

import dataclasses
from collections.abc import Iterator

from service.production.asking import Reasons
from service.production.marking import add_mark
from service.production.marks import DATE_PAST
from service.production.nouns.rule import Rule
from service.production.oddities import is_past
from service.production.ordered import Order, OrderPrice, OrderStep
from service.production.orders import (
    APPROVED,
    DECLINED,
    MEMBERS,
    MOVES,
    PRICED,
    RAISED,
    WITHDRAWN,
    Figures,
    Quotes,
    differing,
    items_of,
)
from service.production.refusal import Code, Reason, Refusal
from service.production.state import STUDIO_CALENDAR, Draft
from service.vocabulary.calendar import local_date
from service.vocabulary.event import Event
from service.vocabulary.facts.orders import (
    ChangeOrderApproved,
    ChangeOrderDeclined,
    ChangeOrderPriced,
    ChangeOrderRaised,
    ChangeOrderWithdrawn,
    OrderLine,
)
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import US_PER_MIN, format_instant
from service.vocabulary.kinds import members
from service.vocabulary.money import money_text

_NAMES = {member.attribute: member.name for member in members(OrderLine)}


_UNSAID = {field.name: field.default for field in dataclasses.fields(OrderLine)}


ID_LENGTH_MOST = 248
"""Of an approval's id: those of its facts are made of it."""


def check_change_order_raised(draft: Draft, event: Event, fact: ChangeOrderRaised) -> Reasons:
    """A new code, a subject in the record, and lines that say what their change needs."""
    if fact.order in draft.orders:
        yield Reason(Code.EXISTS, f"order {fact.order} is raised already", "/data/order")
    is_listed = event.subject in draft.episodes or event.subject in draft.shows
    if not is_listed:
        yield Reason(
            Code.UNKNOWN, f"{event.subject} is not in the record; open it first", "/subject"
        )
    subject = parse_subject(event.subject)
    for place, line in enumerate(fact.lines):
        pointer = f"/data/lines/{place}"
        yield from _members_wanted(line, pointer)
        for item in items_of(line):
            named = parse_subject(item)
            if subject is not None and named is not None and named.show != subject.show:
                detail = f"{item} is of another show than the order"
                yield Reason(Code.CONTRADICTION, detail, pointer)


def apply_change_order_raised(draft: Draft, event: Event, fact: ChangeOrderRaised) -> None:
    """An order, without a price as yet."""
    draft.orders[fact.order] = order_of(event, fact)


def _say_change_order_raised(event: Event, fact: ChangeOrderRaised) -> str:
    return f"Change order {fact.order} was raised, asked for by {fact.asked_by}."


def check_change_order_priced(draft: Draft, event: Event, fact: ChangeOrderPriced) -> Reasons:
    """A price names each line of the order once, at a position that is past."""
    against = list(_moves(draft, event, fact.order, PRICED))
    yield from against
    if fact.position >= event.position:
        yield Reason(
            Code.CONTRADICTION,
            f"the log was not at {fact.position} yet when this was quoted; say the quote's own",
            "/data/position",
        )
    if not against:
        wanted = list(range(1, len(draft.orders[fact.order].lines) + 1))
        if sorted(line.line for line in fact.lines) != wanted:
            detail = f"{fact.order} has {len(wanted)} lines; give the amount of each, once"
            yield Reason(Code.CONTRADICTION, detail, "/data/lines")


def apply_change_order_priced(draft: Draft, event: Event, fact: ChangeOrderPriced) -> None:
    """Its price; a later one takes the place of the one before."""
    if fact.valid_until is not None and is_past(draft, fact.valid_until, event):
        add_mark(draft, event.position, DATE_PAST)
    amounts = tuple(line.amount for line in sorted(fact.lines, key=lambda line: line.line))
    price = OrderPrice(fact.position, fact.currency, amounts, fact.total, fact.valid_until)
    draft.orders[fact.order] = _moved(draft, event, fact.order, PRICED)._replace(price=price)


def _say_change_order_priced(event: Event, fact: ChangeOrderPriced) -> str:
    return f"Change order {fact.order} was priced at {fact.total} {fact.currency}."


def check_change_order_approved(draft: Draft, event: Event, fact: ChangeOrderApproved) -> Reasons:
    """A priced order is approved once, while its price is valid."""
    against = list(_moves(draft, event, fact.order, APPROVED))
    yield from against
    if len(event.id) > ID_LENGTH_MOST:
        detail = f"its facts get ids made of this one; write at most {ID_LENGTH_MOST} characters"
        yield Reason(Code.CONTRADICTION, detail, "/id")
    for place, move in enumerate(fact.gates):
        pointer = f"/data/gates/{place}/episode"
        if move.episode not in draft.episodes:
            yield Reason(Code.UNKNOWN, f"episode {move.episode} is not in the record", pointer)
        elif draft.episodes[move.episode].show != event.subject.partition("-")[0]:
            detail = f"{move.episode} is of another show than the order"
            yield Reason(Code.CONTRADICTION, detail, pointer)
    if not against:
        yield from _price_holds(draft, event, fact)


def apply_change_order_approved(draft: Draft, event: Event, fact: ChangeOrderApproved) -> None:
    """Accepted, with the gates that were agreed to move."""
    approved = _moved(draft, event, fact.order, APPROVED)
    draft.orders[fact.order] = approved._replace(gates=fact.gates)


def _say_change_order_approved(event: Event, fact: ChangeOrderApproved) -> str:
    return f"Change order {fact.order} was approved."


def check_change_order_declined(draft: Draft, event: Event, fact: ChangeOrderDeclined) -> Reasons:
    """An order that stands open may be declined."""
    yield from _moves(draft, event, fact.order, DECLINED)


def apply_change_order_declined(draft: Draft, event: Event, fact: ChangeOrderDeclined) -> None:
    """Close an order as declined."""
    _moved(draft, event, fact.order, DECLINED)


def _say_change_order_declined(event: Event, fact: ChangeOrderDeclined) -> str:
    return f"Change order {fact.order} was declined."


def check_change_order_withdrawn(draft: Draft, event: Event, fact: ChangeOrderWithdrawn) -> Reasons:
    """An order that stands open may be withdrawn."""
    yield from _moves(draft, event, fact.order, WITHDRAWN)


def apply_change_order_withdrawn(draft: Draft, event: Event, fact: ChangeOrderWithdrawn) -> None:
    """Close an order as withdrawn."""
    _moved(draft, event, fact.order, WITHDRAWN)


def _say_change_order_withdrawn(event: Event, fact: ChangeOrderWithdrawn) -> str:
    return f"Change order {fact.order} was withdrawn."


def _members_wanted(line: OrderLine, pointer: str) -> Iterator[Reason]:
    needed, allowed = MEMBERS[line.change]
    given = {name for name, unsaid in _UNSAID.items() if getattr(line, name) != unsaid} - {"change"}
    for name in sorted(needed - given):
        detail = f"a line that says {line.change} needs {_NAMES[name]}; say it"
        yield Reason(Code.CONTRADICTION, detail, f"{pointer}/{_NAMES[name]}")
    for name in sorted(given - needed - allowed):
        detail = f"a line that says {line.change} has no {_NAMES[name]}; leave it out"
        yield Reason(Code.CONTRADICTION, detail, f"{pointer}/{_NAMES[name]}")


def _moves(draft: Draft, event: Event, code: str, standing: str) -> Iterator[Reason]:
    """Whether an order may become what an event makes of it."""
    order = draft.orders.get(code)
    if order is None:
        yield Reason(Code.UNKNOWN, f"there is no order {code}; raise it first", "/data/order")
        return
    if order.subject != event.subject:
        detail = f"{code} was raised on {order.subject}; say that"
        yield Reason(Code.CONTRADICTION, detail, "/subject")
    if standing not in MOVES[order.standing]:
        remedy = "raise a new one" if not MOVES[order.standing] else "price it first"
        detail = f"{code} is {order.standing} and cannot be {standing}; {remedy}"
        yield Reason(Code.ILLEGAL_MOVE, detail, "/data/order")
    last = order.steps[-1]
    if event.time_us < last.at_us:
        detail = f"{code} was {last.standing} at {format_instant(last.at_us)}; correct the time"
        yield Reason(Code.TIME_ORDER, detail, "/time")


def _price_holds(draft: Draft, event: Event, fact: ChangeOrderApproved) -> Reasons:
    price = draft.orders[fact.order].price
    if price is None:
        raise LookupError(f"{fact.order} is priced without a price")
    if fact.position not in {None, price.position}:
        detail = f"{fact.order} was priced at position {price.position}; say that, or leave it out"
        yield Reason(Code.CONTRADICTION, detail, "/data/position")
    calendar = draft.calendars.get(STUDIO_CALENDAR)
    if price.valid_until is not None and calendar is not None:
        on = local_date(calendar, event.time_us // US_PER_MIN)
        if on > price.valid_until:
            detail = f"the price was valid until {price.valid_until}; price {fact.order} again"
            yield Reason(Code.CONTRADICTION, detail, "/data/order")


def figures_against(draft: Draft, event: Event, quotes: Quotes | None) -> list[Reason]:
    """Whether the money in a price, or behind an approval, is what the order is quoted at.

    Asked only of what is new: a price that stands in the record stays what it was.

    Raises ValueError without quotes, LookupError for an order that has no price.
    """
    fact = event.fact
    if isinstance(fact, ChangeOrderApproved) and fact.position is not None:
        return []  # approved at the recorded price, whatever it would be now
    if not isinstance(fact, ChangeOrderApproved | ChangeOrderPriced):
        return []
    if quotes is None:
        raise ValueError("prices and approvals are decided against a quote")
    quote = quotes(draft.branch(), fact.order, event.time_us)
    if isinstance(quote, Refusal):
        return [reason._replace(member="/data/order") for reason in quote.reasons]
    if isinstance(fact, ChangeOrderPriced):
        return list(_price_against(fact, quote))
    price = draft.orders[fact.order].price
    if price is None:
        raise LookupError(f"{fact.order} is priced without a price")
    lines = [
        f"line {number} was priced at {money_text(was)} and is {money_text(now)} now"
        for number, was, now in differing(price, quote)
    ]
    if not lines:
        return []
    prices = "; ".join(lines)
    detail = (
        f"{prices} ({price.currency}); price {fact.order} again, or say the position that it was "
        f"priced at ({price.position}) to approve it at the recorded price"
    )
    return [Reason(Code.CONTRADICTION, detail, "/data/order")]


def _price_against(fact: ChangeOrderPriced, quote: Figures) -> Iterator[Reason]:
    remedy = "ask for the quote, and say its figures and its moment as the time"
    if fact.currency != quote.currency:
        detail = f"it is quoted in {quote.currency}, not {fact.currency}"
        yield Reason(Code.CONTRADICTION, detail, "/data/currency")
    for place, line in enumerate(fact.lines):
        now = quote.amounts[line.line - 1]
        if line.amount != now:
            detail = (
                f"line {line.line} is quoted at {money_text(now)}, not {money_text(line.amount)}"
            )
            at = f"/data/lines/{place}/amount"
            yield Reason(Code.CONTRADICTION, f"{detail}; {remedy}", at)
    if fact.total != quote.total:
        detail = f"the total is quoted at {money_text(quote.total)}, not {money_text(fact.total)}"
        yield Reason(Code.CONTRADICTION, f"{detail}; {remedy}", "/data/total")


def _step(event: Event, standing: str) -> OrderStep:
    return OrderStep(standing, event.position, event.time_us, event.poster, event.role)


def _moved(draft: Draft, event: Event, code: str, standing: str) -> Order:
    order = draft.orders[code]
    moved = order._replace(steps=(*order.steps, _step(event, standing)))
    draft.orders[code] = moved
    return moved


def order_of(event: Event, fact: ChangeOrderRaised) -> Order:
    """The order as it is raised."""
    return Order(event.subject, fact.asked_by, fact.lines, (_step(event, RAISED),))


RULES = {
    "change-order.raised": Rule(
        check_change_order_raised, apply_change_order_raised, _say_change_order_raised
    ),
    "change-order.priced": Rule(
        check_change_order_priced, apply_change_order_priced, _say_change_order_priced
    ),
    "change-order.approved": Rule(
        check_change_order_approved, apply_change_order_approved, _say_change_order_approved
    ),
    "change-order.declined": Rule(
        check_change_order_declined, apply_change_order_declined, _say_change_order_declined
    ),
    "change-order.withdrawn": Rule(
        check_change_order_withdrawn, apply_change_order_withdrawn, _say_change_order_withdrawn
    ),
}
