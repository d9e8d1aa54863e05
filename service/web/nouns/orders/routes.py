"""Change orders: what was asked for, at what price, and what it would cost and do now."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, g

from service.planning.compare.impact import compare
from service.planning.compare.pricing import quote
from service.planning.plan.schedule import RULES_VERSION
from service.production.decide import carried_out
from service.production.ordered import Order
from service.production.orders import MOVES
from service.production.refusal import Refusal
from service.production.state import State
from service.vocabulary import cautions
from service.vocabulary.facts.base import SEES_MONEY
from service.vocabulary.zones import ZONE_DATA_VERSION
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.impacts.answers import shown_impact
from service.web.nouns.orders import answers as shapes
from service.web.nouns.orders import arguments as queries
from service.web.nouns.orders.answers import (
    POINTERS,
    QuoteShown,
    concerns_of,
    shown_lengths,
    shown_order,
    shown_order_whole,
    shown_quote,
)
from service.web.paged_texts import page_with_texts
from service.web.pointers import FieldError
from service.web.problems import ProblemError
from service.web.reading import answer, found, page_answer, read_now, read_page
from service.web.recorded import texts_at
from service.web.schemas.reading import PAGE_HEADERS, READ, READ_HEADERS
from service.web.services import services

orders = Blueprint("orders", __name__)


@orders.get("/change-orders")
@describe(
    "The change orders, the newest first",
    tag="change orders",
    query=queries.ORDERS_QUERY,
    cautions=(cautions.TAXES,),
    answers={200: Answer("A page of orders.", {JSON: shapes.ORDERS}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require(*SEES_MONEY)
def list_orders() -> Response:
    """A page of orders."""
    args = negotiation.read_args()
    page = read_page(args)
    orders = page.reading.state.orders
    codes = [code for code, order in orders.items() if _wanted(order, args)]
    codes.sort(key=lambda code: -orders[code].steps[0].position)
    with services().engine.connect() as connection:
        page, concerns = page_with_texts(
            connection, page, codes, lambda code: concerns_of(orders[code])
        )
        texts = texts_at(connection, g.token, concerns, POINTERS)
    return page_answer(page, codes, lambda code: shown_order(code, orders[code], texts), texts)


def _wanted(order: Order, args: Mapping[str, Any]) -> bool:
    return (
        args.get("standing") in {None, order.standing}
        and args.get("asked_by") in {None, order.asked_by}
        and args.get("show") in {None, order.show}
        and args.get("episode") in {None, order.subject}
    )


def _texts(order: Order) -> dict[int, dict[str, str]]:
    with services().engine.connect() as connection:
        return texts_at(connection, g.token, concerns_of(order), POINTERS)


@orders.get("/change-orders/<order>")
@describe(
    "One change order: what was raised, what was said of it since, and its price",
    tag="change orders",
    query=READ,
    cautions=(cautions.TAXES,),
    answers={200: Answer("The order.", {JSON: shapes.ORDER}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require(*SEES_MONEY)
def show_order(order: str) -> Response:
    """One order."""
    reading = read_now(negotiation.read_args())
    record = the_order(reading.state, order)
    texts = _texts(record)
    return answer(reading, lambda: shown_order_whole(order, record, texts), texts)


@orders.get("/change-orders/<order>/quote")
@describe(
    "What an open order would cost and do now",
    tag="change orders",
    details="To record the price, post `change-order.priced` with the figures given here, with "
    "`at` as its `time` and `position` as its `position`. The impact is that of all lines.",
    query=READ,
    cautions=(cautions.TAXES,),
    dates=True,
    answers={200: Answer("The quote.", {JSON: shapes.QUOTE}, READ_HEADERS)},
    problems=("not-found", "no-quote", "not-yet"),
)
@require(*SEES_MONEY)
def show_quote(order: str) -> Response:
    """The quote now."""
    reading = read_now(negotiation.read_args())
    view = reading.view
    record = the_order(view.state, order)
    if not MOVES[record.standing]:
        detail = f"{order} is {record.standing}; what it was priced at is in the record."
        raise ProblemError("no-quote", detail)
    made = quote(view.state, order, view.position, view.now_us)
    if isinstance(made, Refusal):
        raise no_quote(order, made)

    def shown() -> QuoteShown:
        states = carried_out(view.state, order, view.position, view.now_us)
        after = view.state if isinstance(states, Refusal) or not states else states[-1]
        impact = compare(reading.studio.planned(view), reading.studio.branched(view, after))
        lengths = shown_lengths(view.state, after)
        shown_after = shown_impact(impact, view.position, RULES_VERSION, ZONE_DATA_VERSION)
        return shown_quote(made, record, view.now_us, lengths, shown_after)

    return answer(reading, shown, view.now_us)


def no_quote(order: str, refusal: Refusal) -> ProblemError:
    """The problem of an order that cannot be quoted."""
    errors = [FieldError(one.member, one.detail, one.code) for one in refusal.reasons]
    reasons = "; ".join(one.detail for one in refusal.reasons[:3])
    return ProblemError("no-quote", f"{order} cannot be quoted: {reasons.rstrip('.')}.", errors)


def the_order(state: State, code: str) -> Order:
    """The order that an address names. Raises ProblemError (404)."""
    return found(state.orders.get(code), f"change order {code}")
