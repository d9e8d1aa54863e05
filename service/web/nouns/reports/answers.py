"""The account of retakes as JSON and CSV show it: the same names and values in both."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from service.feeds.table import Cell
from service.production.account import AccountRow
from service.production.records import RETAKE_STANDINGS
from service.production.totals import Total
from service.vocabulary.cautions import BLAME
from service.vocabulary.facts.retakes import ASKERS, KINDS, URGENCIES
from service.vocabulary.money import money_text
from service.web.answers import Day, Quantity, Shown, answer_of, note, one_of, page_of
from service.web.nouns.values import shown_e4, shown_on

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


class AccountRowShown(Shown):
    """What one call had redone in one department, in one episode."""

    retake: Annotated[str, note("The retake.")]
    show: Annotated[str, note("The show it was called in.")]
    episode: Annotated[str | None, note("The episode; null: an element, which several may share.")]
    called_on: Annotated[
        Day | None, note("The day of the call, in the studio's zone; null: no calendar.")
    ]
    month: Annotated[str | None, note("Its month, YYYY-MM.")]
    kind: Annotated[str, one_of(KINDS, "The kind of call.")]
    urgency: Annotated[str, one_of(URGENCIES, "How badly it is wanted.")]
    standing: Annotated[str, one_of(RETAKE_STANDINGS, "Whether it still stands.")]
    asked_by: Annotated[str, one_of(ASKERS, "Who asked for it.")]
    found_at: Annotated[str | None, note("Where it was found.")]
    called_by: Annotated[
        str | None, note("The role that called it; null: recorded before roles were.")
    ]
    fault_of: Annotated[str | None, note(f"The department at which the fault arose. {BLAME}")]
    department: Annotated[
        str | None, note("The department that redid it; null: nothing was redone.")
    ]
    unit: Annotated[str | None, note("What its work is counted in.")]
    visits: Annotated[int, note("How many visits were reopened.")]
    work: Annotated[Quantity, note("The work added, in that unit.")]
    artist_days: Annotated[
        Quantity | None, note("The same at the rate of the crew at the call; null: there was none.")
    ]
    rate: Annotated[
        str | None, note("The price of a unit on the day of the call, as decimal text.")
    ]
    currency: Annotated[str | None, note("ISO 4217; null: no card.")]
    cost: Annotated[
        str | None, note("What it cost, as decimal text; null: no rate gives it a price.")
    ]
    unpriced: Annotated[bool, note("Whether there is work that no rate gives a price to.")]


class WorkShown(Shown):
    """Work in a department's unit."""

    department: Annotated[str, note("The department.")]
    unit: Annotated[str, note("What its work is counted in.")]
    work: Annotated[Quantity, note("The work added.")]


class TotalShown(Shown):
    """The sum of the rows of one group, in one currency."""

    of: Annotated[dict[str, str | None], note("The group's values; null where a row has none.")]
    retakes: Annotated[
        int, note("How many retakes have a row in it; one may have rows in several groups.")
    ]
    visits: Annotated[int, note("How many visits were reopened.")]
    works: Annotated[list[WorkShown], note("The work added, by department.")]
    artist_days: Annotated[Quantity, note("Artist-days, of departments that had a crew.")]
    currency: Annotated[str | None, note("ISO 4217; null: no card.")]
    cost: Annotated[str | None, note("The sum of what has a price, as decimal text.")]
    unpriced: Annotated[
        Sequence[str],
        note("Departments whose work, or some of it, has no price and is not in `cost`."),
    ]
    uncrewed: Annotated[
        Sequence[str], note("Departments without a crew, which are not in `artist_days`.")
    ]


class TotalsShown(Shown):
    """The account in sums."""

    items: Annotated[list[TotalShown], note("A sum for each group and currency, in order.")]


def shown_row(row: AccountRow) -> AccountRowShown:
    """What one call had redone in one department, in one episode."""
    retake = row.retake
    return AccountRowShown(
        retake=row.code,
        show=row.show,
        episode=row.episode,
        called_on=shown_on(row.called_on),
        month=row.month,
        kind=retake.kind,
        urgency=retake.urgency,
        standing=retake.standing,
        asked_by=retake.asked_by,
        found_at=retake.found_at,
        called_by=retake.called_by or None,
        fault_of=retake.fault_of,
        department=row.department,
        unit=row.unit,
        visits=row.visits,
        work=shown_e4(row.work_e4),
        artist_days=shown_e4(row.artist_days_e4),
        rate=_money(row.rate),
        currency=row.currency,
        cost=_money(row.cost),
        unpriced=row.unpriced,
    )


def shown_total(total: Total, by: Sequence[str]) -> TotalShown:
    """The sum of a group: its own values, then what they come to."""
    return TotalShown(
        of=dict(zip(by, total.of, strict=True)),
        retakes=total.retakes,
        visits=total.visits,
        works=[
            WorkShown(department=department, unit=unit, work=shown_e4(work))
            for department, unit, work in total.work_e4
        ],
        artist_days=shown_e4(total.artist_days_e4),
        currency=total.currency,
        cost=_money(total.cost),
        unpriced=list(total.unpriced),
        uncrewed=list(total.uncrewed),
    )


def row_cells(row: AccountRow) -> list[Cell]:
    """The cells of ROW_COLUMNS."""
    shown = shown_row(row)
    return [_cell(getattr(shown, name)) for name in ROW_COLUMNS]


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
        works = shown.works
        cells += [works[0].unit, works[0].work] if len(works) == 1 else [None, None]
    return cells + [_cell(getattr(shown, name)) for name in _TOTAL_COLUMNS]


def _cell(value: Cell | list[str]) -> Cell:
    if isinstance(value, bool):
        return "true" if value else "false"
    return " ".join(value) if isinstance(value, list) else value


def _money(amount: Decimal | None) -> str | None:
    return None if amount is None else money_text(amount)


ACCOUNT = page_of(AccountRowShown, "AccountPage")
TOTALS = answer_of(TotalsShown, "AccountTotalsAnswer")
