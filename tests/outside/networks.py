"""Worked networks of activities with their published early and late dates and floats.

Each was computed again with networkx from its durations and arcs before it was taken in, and a test
does so still. Days are counted from 0; a finish is the end of an activity's last day. Where a
source prints dates, they are its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple


class Figures(NamedTuple):
    """Early start and finish, late start and finish, total float; all in days."""

    early_start: int
    early_finish: int
    late_start: int
    late_finish: int
    total_float: int


class Dates(NamedTuple):
    """First and last day of work, early and late; total float in working days."""

    early_start: date
    early_finish: date
    late_start: date
    late_finish: date
    total_float: int


@dataclass(frozen=True)
class Network:
    """Activities with their days and what they follow, and what was published of them.

    `free_float` leaves out activities that nothing follows where the source counts theirs in its
    own way.
    """

    days: Mapping[str, int]
    follows: Mapping[str, Sequence[str]]
    total_float: Mapping[str, int]
    free_float: Mapping[str, int]
    length: int | None = None
    figures: Mapping[str, Figures] | None = None


def followed_by(arcs: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """From what stands behind each activity to what each follows."""
    follows: dict[str, list[str]] = {name: [] for name in arcs}
    for before, afters in arcs.items():
        for after in afters:
            follows[after].append(before)
    return follows


# The worked example of the CRAN package critpath 0.2.2 (data set cpmexample1): activities are start
# node, end node and duration; published are total and free float and the length of the whole.
_NODES = {
    "A": (1, 2, 3),
    "B": (1, 3, 2),
    "C": (1, 4, 5),
    "D": (2, 4, 1),
    "E": (3, 4, 1),
    "F": (4, 5, 3),
}
CRITPATH = Network(
    days={name: days for name, (_, _, days) in _NODES.items()},
    follows={
        name: [other for other, (_, end, _) in _NODES.items() if end == start]
        for name, (start, _, _) in _NODES.items()
    },
    length=8,
    total_float={"A": 1, "B": 2, "C": 0, "D": 1, "E": 2, "F": 0},
    free_float={"A": 0, "B": 0, "C": 0, "D": 1, "E": 2, "F": 0},
)

# M. Vanhoucke, Integrated Project Management and Control, Springer 2014, p. 6 ("Cost Information
# System"), as worked in the README of the CRAN package criticalpath by R. J. Rosa and others
# (github.com/rubens2005/criticalpath). It prints a free float of 0 for the two activities that
# nothing follows, a17 among them whose total float is 1; they are left out of the free floats.
_VANHOUCKE = {
    "a1": (1, "a2 a3", Figures(0, 1, 0, 1, 0), 0),
    "a2": (2, "a4 a5 a6", Figures(1, 3, 1, 3, 0), 0),
    "a3": (2, "a7 a8 a9 a10", Figures(1, 3, 3, 5, 2), 0),
    "a4": (4, "a11", Figures(3, 7, 3, 7, 0), 0),
    "a5": (3, "a11", Figures(3, 6, 4, 7, 1), 1),
    "a6": (3, "a11", Figures(3, 6, 4, 7, 1), 1),
    "a7": (3, "a12", Figures(3, 6, 5, 8, 2), 0),
    "a8": (2, "a13", Figures(3, 5, 6, 8, 3), 0),
    "a9": (1, "a14", Figures(3, 4, 7, 8, 4), 0),
    "a10": (1, "a15", Figures(3, 4, 7, 8, 4), 0),
    "a11": (2, "a16 a17", Figures(7, 9, 7, 9, 0), 0),
    "a12": (1, "a16 a17", Figures(6, 7, 8, 9, 2), 2),
    "a13": (1, "a16 a17", Figures(5, 6, 8, 9, 3), 3),
    "a14": (1, "a16 a17", Figures(4, 5, 8, 9, 4), 4),
    "a15": (1, "a16 a17", Figures(4, 5, 8, 9, 4), 4),
    "a16": (2, "", Figures(9, 11, 9, 11, 0), None),
    "a17": (1, "", Figures(9, 10, 10, 11, 1), None),
}
VANHOUCKE = Network(
    days={name: days for name, (days, _, _, _) in _VANHOUCKE.items()},
    follows=followed_by({name: after.split() for name, (_, after, _, _) in _VANHOUCKE.items()}),
    length=11,
    total_float={name: figures.total_float for name, (_, _, figures, _) in _VANHOUCKE.items()},
    free_float={name: free for name, (_, _, _, free) in _VANHOUCKE.items() if free is not None},
    figures={name: figures for name, (_, _, figures, _) in _VANHOUCKE.items()},
)


@dataclass(frozen=True)
class Dated:
    """A network published with dates: the day it starts on, and on which days of the week."""

    network: Network
    starts_on: date
    works_on: Sequence[str]
    dates: Mapping[str, Dates]


_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday")


def _day(text: str) -> date:
    """A date of 2003 or 2004, as day and month: the projects run from December to April."""
    day, month = (int(part) for part in text.split("."))
    return date(2003 if month == 12 else 2004, month, day)


def _dated(
    rows: Mapping[str, tuple[int, str, str, int, int]], starts_on: date, works_on: Sequence[str]
) -> Dated:
    """From rows of days, what stands behind, four dates, total and free float."""
    dates = {}
    for name, (_, _, printed, total_float, _) in rows.items():
        start, finish, late_start, late_finish = (_day(part) for part in printed.split())
        dates[name] = Dates(start, finish, late_start, late_finish, total_float)
    network = Network(
        days={name: days for name, (days, _, _, _, _) in rows.items()},
        follows=followed_by({name: after.split() for name, (_, after, _, _, _) in rows.items()}),
        total_float={name: total for name, (_, _, _, total, _) in rows.items()},
        free_float={name: free for name, (_, _, _, _, free) in rows.items()},
    )
    return Dated(network, starts_on, works_on, dates)


# SAS/OR User's Guide: Project Management, chapter "The GANTT Procedure", section "Getting Started",
# figure "Software Project Plan": durations in days, work on all days of the week.
SOFTWARE = _dated(
    {
        "testing": (20, "recode", "1.3 20.3 1.3 20.3", 0, 0),
        "preldoc": (15, "docedrev qatest", "1.3 15.3 11.3 25.3", 10, 10),
        "meetmkt": (1, "recode", "1.3 1.3 20.3 20.3", 19, 19),
        "recode": (5, "docedrev qatest", "21.3 25.3 21.3 25.3", 0, 0),
        "qatest": (10, "prod", "26.3 4.4 26.3 4.4", 0, 0),
        "docedrev": (10, "prod", "26.3 4.4 26.3 4.4", 0, 0),
        "prod": (1, "", "5.4 5.4 5.4 5.4", 0, 0),
    },
    date(2004, 3, 1),
    (*_WEEKDAYS, "saturday", "sunday"),
)

# The same guide, chapter "The CPM Procedure", Example 4.6 (2.6 in earlier editions) "Changing
# Duration Units", output 4.6.1: work on weekdays alone. Its two milestones of no duration, which
# nothing follows, are left out; they bind no other activity.
WIDGET = _dated(
    {
        "approve-plan": (5, "drawings study-market write-specs", "1.12 5.12 1.12 5.12", 0, 0),
        "drawings": (10, "prototype", "8.12 19.12 8.12 19.12", 0, 0),
        "study-market": (5, "mkt-strat", "8.12 12.12 19.1 23.1", 30, 0),
        "write-specs": (5, "prototype", "8.12 12.12 15.12 19.12", 5, 5),
        "prototype": (15, "materials facility", "22.12 9.1 22.12 9.1", 0, 0),
        "mkt-strat": (10, "test-market", "15.12 26.12 26.1 6.2", 30, 30),
        "materials": (10, "init-prod", "12.1 23.1 12.1 23.1", 0, 0),
        "facility": (10, "init-prod", "12.1 23.1 12.1 23.1", 0, 0),
        "init-prod": (10, "test-market evaluate", "26.1 6.2 26.1 6.2", 0, 0),
        "evaluate": (10, "changes", "9.2 20.2 16.2 27.2", 5, 5),
        "test-market": (15, "changes", "9.2 27.2 9.2 27.2", 0, 0),
        "changes": (5, "", "1.3 5.3 1.3 5.3", 0, 0),
    },
    date(2003, 12, 1),
    _WEEKDAYS,
)
