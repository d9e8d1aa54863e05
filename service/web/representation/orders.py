"""Change orders and quotes as JSON shows them."""

from collections.abc import Mapping
from typing import Any

from service.planning.compare.pricing import Quote, QuotedLine
from service.production.ordered import Order
from service.production.orders import (
    APPROVED,
    DECLINED,
    RAISED,
    WITHDRAWN,
    count_of,
    differing,
)
from service.production.state import State, rate_of
from service.vocabulary.kinds import told
from service.vocabulary.money import money_text
from service.web.representation.episodes import shown_format
from service.web.representation.values import Shown, shown_e4, shown_on, shown_us

_WITH_TEXT = {RAISED: "/data/words", DECLINED: "/data/why", WITHDRAWN: "/data/why"}
POINTERS = frozenset({"/data/words", "/data/why"})
"""The personal members that an order shows."""


def facts_with_text(order: Order) -> dict[int, Mapping[str, Any]]:
    """What visibility asks of the events of an order that have text."""
    return {
        step.position: {"type": f"change-order.{step.standing}", "data": {}}
        for step in order.steps
        if step.standing in _WITH_TEXT
    }


def shown_order(code: str, order: Order, texts: Mapping[int, Mapping[str, Any]]) -> Shown:
    """An order; its words are null where they are gone."""
    price = order.price
    return {
        "order": code,
        "subject": order.subject,
        "asked_by": order.asked_by,
        "words": texts.get(order.steps[0].position, {}).get("/data/words"),
        "standing": order.standing,
        "line_count": len(order.lines),
        "steps": [
            {
                "standing": step.standing,
                "position": step.position,
                "at": shown_us(step.at_us),
                "poster": step.poster,
                "role": step.role or None,
            }
            for step in order.steps
        ],
        "price": None
        if price is None
        else {
            "position": price.position,
            "currency": price.currency,
            "lines": [
                {"line": number, "amount": money_text(amount)}
                for number, amount in enumerate(price.amounts, 1)
            ],
            "total": money_text(price.total),
            "valid_until": shown_on(price.valid_until),
        },
    }


def shown_order_whole(code: str, order: Order, texts: Mapping[int, Mapping[str, Any]]) -> Shown:
    """An order with its lines, and with the positions of the facts that approving it recorded."""
    last = order.steps[-1]
    facts = count_of(order.lines, order.gates) if last.standing == APPROVED else 0
    return shown_order(code, order, texts) | {
        "lines": [told(line) for line in order.lines],
        "gates": [told(move) for move in order.gates],
        "facts": list(range(last.position + 1, last.position + facts + 1)),
        "why": texts.get(last.position, {}).get("/data/why"),
    }


def shown_quote(quote: Quote, order: Order, at_us: int) -> Shown:
    """A quote, and where the recorded price is another."""
    stale = [] if order.price is None else differing(order.price, quote)
    return {
        "order": quote.order,
        "show": quote.show,
        "at": shown_us(at_us),
        "on": shown_on(quote.on),
        "currency": quote.currency,
        "credit": shown_e4(quote.credit_e4),
        "lines": [_shown_line(line) for line in quote.lines],
        "total": money_text(quote.total),
        "price_is_stale": None if order.price is None else bool(stale),
        "stale_lines": [
            {"line": number, "recorded": money_text(was), "now": money_text(now)}
            for number, was, now in stale
        ],
    }


def _shown_line(line: QuotedLine) -> Shown:
    return {
        "line": line.number,
        "change": line.change,
        "items": list(line.items),
        "works": [
            {
                "department": work.department,
                "unit": work.unit,
                "redone": shown_e4(work.redone_e4),
                "added": shown_e4(work.added_e4),
                "dropped": shown_e4(work.dropped_e4),
                "rate": money_text(work.rate),
            }
            for work in line.works
        ],
        "fee": None if line.fee is None else money_text(line.fee),
        "amount": money_text(line.amount),
    }


def shown_lengths(before: State, after: State) -> list[Shown]:
    """Episodes whose running total is another, before and after, beside their format lengths."""
    return [
        {
            "episode": name,
            "before": shown_format(before.episodes[name], rate_of(before, name)),
            "after": shown_format(episode, rate_of(after, name)),
        }
        for name, episode in sorted(after.episodes.items())
        if episode.scene_frames != before.episodes[name].scene_frames
    ]
