"""The account of retakes as JSON and CSV show it: the same names and values in both."""

from collections.abc import Sequence
from decimal import Decimal

from service.feeds.table import Cell
from service.production.account import AccountRow
from service.production.totals import Total
from service.vocabulary.money import money_text
from service.web.representation.values import Shown, shown_e4, shown_on

ROW_COLUMNS = (
    "retake",
    "show",
    "episode",
    "called_on",
    "month",
    "kind",
    "urgency",
    "standing",
    "asked_by",
    "found_at",
    "called_by",
    "fault_of",
    "department",
    "unit",
    "visits",
    "work",
    "artist_days",
    "rate",
    "currency",
    "cost",
    "unpriced",
)
_TOTAL_COLUMNS = ("retakes", "visits", "artist_days", "currency", "cost", "unpriced", "uncrewed")


def shown_row(row: AccountRow) -> Shown:
    """What one call had redone in one department, in one episode."""
    retake = row.retake
    return {
        "retake": row.code,
        "show": row.show,
        "episode": row.episode,
        "called_on": shown_on(row.called_on),
        "month": row.month,
        "kind": retake.kind,
        "urgency": retake.urgency,
        "standing": retake.standing,
        "asked_by": retake.asked_by,
        "found_at": retake.found_at,
        "called_by": retake.called_by or None,
        "fault_of": retake.fault_of,
        "department": row.department,
        "unit": row.unit,
        "visits": row.visits,
        "work": shown_e4(row.work_e4),
        "artist_days": shown_e4(row.artist_days_e4),
        "rate": _money(row.rate),
        "currency": row.currency,
        "cost": _money(row.cost),
        "unpriced": row.unpriced,
    }


def shown_total(total: Total, by: Sequence[str]) -> Shown:
    """The sum of a group: its own values, then what they come to."""
    return {
        "of": dict(zip(by, total.of, strict=True)),
        "retakes": total.retakes,
        "visits": total.visits,
        "works": [
            {"department": department, "unit": unit, "work": shown_e4(work)}
            for department, unit, work in total.work_e4
        ],
        "artist_days": shown_e4(total.artist_days_e4),
        "currency": total.currency,
        "cost": _money(total.cost),
        "unpriced": list(total.unpriced),
        "uncrewed": list(total.uncrewed),
    }


def row_cells(row: AccountRow) -> list[Cell]:
    """The cells of ROW_COLUMNS."""
    shown = shown_row(row)
    return [_cell(shown[name]) for name in ROW_COLUMNS]


def total_columns(by: Sequence[str]) -> list[str]:
    """The columns of totals: work is among them where it can be one sum, by department."""
    work = ["unit", "work"] if "department" in by else []
    return [*by, *work, *_TOTAL_COLUMNS]


def total_cells(total: Total, by: Sequence[str]) -> list[Cell]:
    """The cells of `total_columns`."""
    shown = shown_total(total, by)
    cells: list[Cell] = list(total.of)
    if "department" in by:
        # a department that two routes count in different units has no one sum
        one = shown["works"][0] if len(shown["works"]) == 1 else {"unit": None, "work": None}
        cells += [one["unit"], one["work"]]
    return cells + [_cell(shown[name]) for name in _TOTAL_COLUMNS]


def _cell(value: Cell | list[str]) -> Cell:
    if isinstance(value, bool):
        return "true" if value else "false"
    return " ".join(value) if isinstance(value, list) else value


def _money(amount: Decimal | None) -> str | None:
    return None if amount is None else money_text(amount)
