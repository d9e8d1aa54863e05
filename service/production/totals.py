"""Totals of the account of retakes."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from service.production.account import AccountRow
from service.vocabulary.identifiers import natural_order
from service.vocabulary.money import rounded

GROUPS: Mapping[str, Callable[[AccountRow], str | None]] = {
    "show": lambda row: row.show,
    "episode": lambda row: row.episode,
    "month": lambda row: row.month,
    "kind": lambda row: row.retake.kind,
    "asked_by": lambda row: row.retake.asked_by,
    "found_at": lambda row: row.retake.found_at,
    "called_by": lambda row: row.retake.called_by or None,
    "fault_of": lambda row: row.retake.fault_of,
    "department": lambda row: row.department,
}
"""What an account can be grouped and filtered by."""


class Total(NamedTuple):
    """The sum of the rows of one group, in one currency.

    `of` are the group's values in the order asked for. `work_e4` is the work by department and
    unit. `cost` leaves out what no rate gives a price to, `artist_days_e4` what had no crew: the
    departments are named in `unpriced` and `uncrewed`. `cost` is None where there is no card.
    """

    of: tuple[str | None, ...]
    currency: str | None
    retakes: int
    visits: int
    work_e4: tuple[tuple[str, str, int], ...]
    artist_days_e4: int
    cost: Decimal | None
    unpriced: tuple[str, ...]
    uncrewed: tuple[str, ...]


def totals(rows: Iterable[AccountRow], by: Sequence[str]) -> list[Total]:
    """Sums by what `by` names (members of GROUPS; one group where it is empty), in order.

    A retake counts in every group that has a row of it.
    """
    groups: dict[tuple[tuple[str | None, ...], str | None], list[AccountRow]] = {}
    values = [GROUPS[name] for name in by]
    for row in rows:
        of = tuple(value(row) for value in values)
        groups.setdefault((of, row.currency), []).append(row)
    found = [_total(of, currency, members) for (of, currency), members in groups.items()]
    return sorted(found, key=lambda total: [_order(one) for one in (*total.of, total.currency)])


def _order(value: str | None) -> tuple[object, ...]:
    """Nothing stands last."""
    return (1,) if value is None else (0, natural_order(value), value)


def _total(of: tuple[str | None, ...], currency: str | None, rows: list[AccountRow]) -> Total:
    work: dict[tuple[str, str], int] = {}
    for row in rows:
        if row.department is not None and row.unit is not None:
            key = (row.department, row.unit)
            work[key] = work.get(key, 0) + row.work_e4
    costs = [row.cost for row in rows if row.cost is not None]
    return Total(
        of=of,
        currency=currency,
        retakes=len({row.code for row in rows}),
        visits=sum(row.visits for row in rows),
        work_e4=tuple((*key, amount) for key, amount in sorted(work.items())),
        artist_days_e4=sum(row.artist_days_e4 or 0 for row in rows),
        cost=None if currency is None else sum(costs, rounded(Decimal(0), currency)),
        unpriced=_departments(row for row in rows if row.unpriced),
        uncrewed=_departments(row for row in rows if row.artist_days_e4 is None),
    )


def _departments(rows: Iterable[AccountRow]) -> tuple[str, ...]:
    return tuple(sorted({row.department for row in rows if row.department is not None}))
