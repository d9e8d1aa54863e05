"""Departments: who works there, what lies there, and in which order it is done."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from service.planning.compare.impact import line_rank
from service.planning.plan.standing import Standings, Stands, counts_by_department
from service.planning.plan.tray import (
    NOTHING_OVERDUE,
    item_place,
    open_work_e4,
    overdue_by_department,
    section_rows,
)
from service.production.state import visit_of
from service.vocabulary import cautions
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.departments import answers as shapes
from service.web.nouns.departments import arguments as queries
from service.web.nouns.departments.answers import (
    TrayShown,
    shown_counts,
    shown_department,
    shown_overdue,
    shown_tray_row,
)
from service.web.reading import found, page_answer, read_page
from service.web.schemas.reading import PAGE, PAGE_HEADERS

departments = Blueprint("departments", __name__)


@departments.get("/departments")
@describe(
    "The departments: crew, stoppage, how their visits stand, and their open work",
    tag="departments",
    query=PAGE,
    cautions=(cautions.HOURS,),
    dates=True,
    answers={200: Answer("A page of departments.", {JSON: shapes.DEPARTMENTS}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require()
def list_departments() -> Response:
    """A page of departments, in the order of the line."""
    page = read_page(negotiation.read_args())
    state, standings = page.reading.state, page.reading.standings
    names = sorted(state.units, key=lambda name: line_rank(state, name))
    counts = _counts(standings)
    overdue, open_e4 = overdue_by_department(standings), open_work_e4(standings.schedule)
    return page_answer(
        page, names, lambda name: shown_department(standings, name, counts, overdue, open_e4)
    )


def _counts(standings: Standings) -> dict[str, list[int]]:
    board = standings.schedule.board
    counted = counts_by_department(board, standings.codes).tolist()
    return dict(zip(board.frame.departments, counted, strict=True))


@departments.get("/departments/<department>/tray")
@describe(
    "A department's work in working order",
    tag="departments",
    details="On desks by expected finish, the tray by the dispatch rule, what is held by the day "
    "its answer is due, what is expected by projected start.",
    query=queries.TRAY_QUERY,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("A page of visits.", {JSON: shapes.TRAY}, PAGE_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_tray(department: str) -> Response:
    """A page of a department's visits."""
    args = negotiation.read_args()
    page = read_page(args)
    standings = page.reading.standings
    unit = found(page.reading.state.units.get(department), f"department {department}")
    rows = [
        row
        for section in map(Stands, dict.fromkeys(args["section"]))
        for row in section_rows(standings.schedule, standings.codes, department, section)
        if _wanted(standings, row, args)
    ]
    tray = TrayShown(
        department=department,
        unit=unit,
        visits=shown_counts(_counts(standings).get(department)),
        overdue=shown_overdue(overdue_by_department(standings).get(department, NOTHING_OVERDUE)),
    )
    return page_answer(page, rows, lambda row: shown_tray_row(standings, row), beside=tray)


def _wanted(standings: Standings, row: int, args: Mapping[str, Any]) -> bool:
    board = standings.schedule.board
    artist, episode = args.get("artist"), args.get("episode")
    if artist is not None:
        take = visit_of(standings.state, *board.frame.nodes[row]).current
        if take.artist != artist:
            return False
    return episode is None or episode in board.frame.due_episodes[item_place(board, row)]
