"""The account of a year's retakes, beside the writing of the same rows as CSV."""

import csv
import io
from datetime import date
from decimal import Decimal

import orjson

from service.production.account import account
from service.production.state import RateCard, State
from service.production.totals import totals
from service.vocabulary.event import read_event
from service.web.nouns.reports.answers import row_cells
from tests.benchmarks import year
from tests.benchmarks.figures import Figure, Size, best_s, no_collector
from tests.benchmarks.fold import folded


def measure(size: Size) -> list[Figure]:
    """Rows a second."""
    # at least so many weeks that scenes have come to the camera and back
    weeks = size.of(year.WEEKS, least=2)
    state = folded([read_event(orjson.dumps(body)) for body in year.bodies(weeks)])
    priced(state)
    rows = list(account(state, state.retakes))
    cells = [row_cells(row) for row in rows]

    def written() -> None:
        csv.writer(io.StringIO()).writerows(cells)

    with no_collector():
        written_s = best_s(written)
        counted_s = best_s(lambda: list(account(state, state.retakes)))
        summed_s = best_s(lambda: totals(rows, ("month", "kind")))
    count, beside = len(rows), "the same rows written as CSV"
    return [
        Figure("retakes", len(state.retakes), "retakes"),
        Figure("rows", count, "rows"),
        Figure("the account whole", counted_s, "s", counted_s / written_s, beside),
        Figure("rows of it", count / counted_s, "rows/s"),
        Figure("its sums by month and kind", summed_s, "s", summed_s / written_s, beside),
    ]


def priced(state: State) -> None:
    """Give every show of a state a card with a price for every department."""
    rates = tuple((department, Decimal("12.50")) for department in state.units)
    card = RateCard(date(2031, 1, 1), "EUR", rates, 10_000)
    cards = state.rate_cards.update(dict.fromkeys(state.shows, (card,)))
    object.__setattr__(state, "rate_cards", cards)
