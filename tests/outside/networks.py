"""Worked project networks of textbooks, with the early and late dates and floats printed there.

Times are counted from 0 in the source's unit; a finish is the end of an activity's last one.

What is from memory, and what a check can find. Of Hillier and Lieberman's network the arcs, the
length, the critical path and the slacks are from memory, and no early or late dates are given. Of
the others the dates and floats are as printed, and durations are the printed early finishes less
the early starts. A test computes each again with networkx from its durations and arcs: a figure
that contradicts the others is found so. What is wrong and still consistent, an arc remembered
wrongly together with the slacks that follow from it, is not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple


class Figures(NamedTuple):
    """Early start and finish, late start and finish, total float."""

    early_start: int
    early_finish: int
    late_start: int
    late_finish: int
    total_float: int


@dataclass(frozen=True)
class Network:
    """Activities with their durations and what they follow, and what a source prints of them.

    `figures` and `free_float` are empty where a source does not print them; `free_float` leaves out
    activities that nothing follows where the source counts theirs in its own way.
    """

    durations: Mapping[str, int]
    follows: Mapping[str, Sequence[str]]
    length: int
    critical: Sequence[str]
    total_float: Mapping[str, int]
    figures: Mapping[str, Figures]
    free_float: Mapping[str, int]


def followed_by(arcs: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """From what stands behind each activity to what each follows."""
    follows: dict[str, list[str]] = {name: [] for name in arcs}
    for before, afters in arcs.items():
        for after in afters:
            follows[after].append(before)
    return follows


def _network(
    rows: Mapping[str, tuple[str, Figures]],
    critical: str,
    free_float: Mapping[str, int] | None = None,
) -> Network:
    """From what each activity follows and its printed figures, its duration among them."""
    figures = {name: printed for name, (_, printed) in rows.items()}
    return Network(
        durations={name: one.early_finish - one.early_start for name, one in figures.items()},
        follows={name: before.split() for name, (before, _) in rows.items()},
        length=max(one.early_finish for one in figures.values()),
        critical=critical.split(),
        total_float={name: one.total_float for name, one in figures.items()},
        figures=figures,
        free_float=free_float or {},
    )


# F. S. Hillier and G. J. Lieberman, Introduction to Operations Research, the chapter on project
# management with PERT/CPM: the Reliable Construction Co., in weeks. Activities and durations are as
# a public page of exercises quotes them (one duration is lost there); what follows what, the length
# of 44 weeks, the critical path and the slacks are from memory.
_RELIABLE = {
    "excavate": (2, "foundation", 0),
    "foundation": (4, "rough-wall", 0),
    "rough-wall": (10, "roof exterior-plumbing electrical-work", 0),
    "roof": (6, "exterior-siding", 4),
    "exterior-plumbing": (4, "interior-plumbing", 0),
    "interior-plumbing": (5, "wallboard", 0),
    "exterior-siding": (7, "exterior-painting", 4),
    "exterior-painting": (9, "exterior-fixtures", 4),
    "electrical-work": (7, "wallboard", 2),
    "wallboard": (8, "flooring interior-painting", 0),
    "flooring": (4, "interior-fixtures", 1),
    "interior-painting": (5, "interior-fixtures", 0),
    "exterior-fixtures": (2, "", 4),
    "interior-fixtures": (6, "", 0),
}
HILLIER_LIEBERMAN = Network(
    durations={name: weeks for name, (weeks, _, _) in _RELIABLE.items()},
    follows=followed_by({name: after.split() for name, (_, after, _) in _RELIABLE.items()}),
    length=44,
    critical=[name for name, (_, _, slack) in _RELIABLE.items() if slack == 0],
    total_float={name: slack for name, (_, _, slack) in _RELIABLE.items()},
    figures={},
    free_float={},
)

# D. R. Anderson, D. J. Sweeney, T. A. Williams and others, An Introduction to Management Science,
# the chapter on project scheduling, table 9.2 (p. 379 of the edition whose project is the Souk Al
# Bustan Shopping Centre, elsewhere the Western Hills): in weeks.
SHOPPING_CENTRE = _network(
    {
        "drawings": ("", Figures(0, 5, 0, 5, 0)),
        "new-tenants": ("", Figures(0, 6, 6, 12, 6)),
        "prospectus": ("drawings", Figures(5, 9, 8, 12, 3)),
        "contractor": ("drawings", Figures(5, 8, 7, 10, 2)),
        "permits": ("drawings", Figures(5, 6, 5, 6, 0)),
        "permits-given": ("permits", Figures(6, 10, 6, 10, 0)),
        "construction": ("contractor permits-given", Figures(10, 24, 10, 24, 0)),
        "contracts": ("new-tenants prospectus", Figures(9, 21, 12, 24, 3)),
        "tenants-move-in": ("construction contracts", Figures(24, 26, 24, 26, 0)),
    },
    critical="drawings permits permits-given construction tenants-move-in",
)

# B. W. Taylor, Introduction to Management Science, the chapter on project management, problems 5
# and 6 as their published solutions print them: in weeks. An activity is named by the nodes between
# which it lies; the dummy 4-5 of the second, which takes no time, is an arc here.
TAYLOR_SMALL = _network(
    {
        "1-2": ("", Figures(0, 7, 2, 9, 2)),
        "1-3": ("", Figures(0, 10, 0, 10, 0)),
        "2-4": ("1-2", Figures(7, 13, 9, 15, 2)),
        "3-4": ("1-3", Figures(10, 15, 10, 15, 0)),
        "3-5": ("1-3", Figures(10, 14, 14, 18, 4)),
        "4-5": ("2-4 3-4", Figures(15, 18, 15, 18, 0)),
        "5-6": ("3-5 4-5", Figures(18, 20, 18, 20, 0)),
    },
    critical="1-3 3-4 4-5 5-6",
)
TAYLOR_LARGE = _network(
    {
        "1-2": ("", Figures(0, 8, 1, 9, 1)),
        "1-3": ("", Figures(0, 10, 0, 10, 0)),
        "1-4": ("", Figures(0, 9, 6, 15, 6)),
        "2-5": ("1-2", Figures(8, 14, 9, 15, 1)),
        "2-6": ("1-2", Figures(8, 12, 16, 20, 8)),
        "3-5": ("1-3", Figures(10, 15, 10, 15, 0)),
        "4-7": ("1-4", Figures(9, 16, 20, 27, 11)),
        "5-7": ("2-5 3-5 1-4", Figures(15, 27, 15, 27, 0)),
        "5-8": ("2-5 3-5 1-4", Figures(15, 30, 16, 31, 1)),
        "6-9": ("2-6", Figures(12, 30, 20, 38, 8)),
        "7-8": ("4-7 5-7", Figures(27, 31, 27, 31, 0)),
        "8-9": ("5-8 7-8", Figures(31, 38, 31, 38, 0)),
    },
    critical="1-3 3-5 5-7 7-8 8-9",
)

# M. Vanhoucke, Integrated Project Management and Control, Springer 2014, p. 6 ("Cost Information
# System"), as worked in the documentation of the R package criticalpath by R. J. Rosa and others
# (github.com/rubens2005/criticalpath). It prints a free float of 0 for the two activities that
# nothing follows, a17 among them whose total float is 1; they are left out of the free floats.
VANHOUCKE = _network(
    {
        "a1": ("", Figures(0, 1, 0, 1, 0)),
        "a2": ("a1", Figures(1, 3, 1, 3, 0)),
        "a3": ("a1", Figures(1, 3, 3, 5, 2)),
        "a4": ("a2", Figures(3, 7, 3, 7, 0)),
        "a5": ("a2", Figures(3, 6, 4, 7, 1)),
        "a6": ("a2", Figures(3, 6, 4, 7, 1)),
        "a7": ("a3", Figures(3, 6, 5, 8, 2)),
        "a8": ("a3", Figures(3, 5, 6, 8, 3)),
        "a9": ("a3", Figures(3, 4, 7, 8, 4)),
        "a10": ("a3", Figures(3, 4, 7, 8, 4)),
        "a11": ("a4 a5 a6", Figures(7, 9, 7, 9, 0)),
        "a12": ("a7", Figures(6, 7, 8, 9, 2)),
        "a13": ("a8", Figures(5, 6, 8, 9, 3)),
        "a14": ("a9", Figures(4, 5, 8, 9, 4)),
        "a15": ("a10", Figures(4, 5, 8, 9, 4)),
        "a16": ("a11 a12 a13 a14 a15", Figures(9, 11, 9, 11, 0)),
        "a17": ("a11 a12 a13 a14 a15", Figures(9, 10, 10, 11, 1)),
    },
    critical="a1 a2 a4 a11 a16",
    free_float=dict(
        zip(
            (f"a{number}" for number in range(1, 16)),
            (0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 2, 3, 4, 4),
            strict=True,
        )
    ),
)

NETWORKS = {
    "Hillier and Lieberman": HILLIER_LIEBERMAN,
    "Anderson, Sweeney and Williams": SHOPPING_CENTRE,
    "Taylor, the smaller": TAYLOR_SMALL,
    "Taylor, the larger": TAYLOR_LARGE,
    "Vanhoucke": VANHOUCKE,
}
