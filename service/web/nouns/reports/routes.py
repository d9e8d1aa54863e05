"""Reports: the account of retakes."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from service.feeds import table
from service.production.account import AccountRow, account
from service.production.cards import studio_date
from service.production.state import Retake, State
from service.production.totals import GROUPS, Total, totals
from service.vocabulary import cautions
from service.vocabulary.facts.base import SEES_MONEY
from service.vocabulary.identifiers import parse_subject
from service.web import negotiation
from service.web.accept import answered_type
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.reports import answers as shapes
from service.web.nouns.reports import answers as shown
from service.web.nouns.reports import arguments as queries
from service.web.reading import answer, answer_as, page_answer, read_now, read_page
from service.web.schemas.reading import PAGE_HEADERS, READ_HEADERS

reports = Blueprint("reports", __name__)

_CSV = {"type": "string", "description": "RFC 4180: a header, CRLF, UTF-8; all rows at once."}
_COUNTED = (
    "Counted is the work that calls added, as the record now has it: the share of the base work "
    "that a call asks a take for, at least the department's least, or the whole where the "
    "department does it whole; of a take taken back from a desk, the share of what was done. "
    "Calls that one take answers share its work in proportion to what they asked. What was left "
    "over from a take taken back, and what a refused hand-off does again, no call added. A call "
    "withdrawn or bought as is counts with takes begun and those that must follow them; a scene "
    "out of the picture with takes begun. Cost is by the card valid on the day of the call, "
    "rounded half even once per retake and department. In CSV a text that a spreadsheet would "
    "run as a formula begins with an apostrophe."
)


@reports.get("/reports/retakes")
@describe(
    "The account of retakes: what each call had redone, where, for whom, and at what cost",
    tag="reports",
    details=f"A row for each retake and department, and episode where it reaches several. "
    f"{_COUNTED} As CSV it comes whole: `limit` and `cursor` mean nothing there.",
    query=queries.ACCOUNT_QUERY,
    cautions=(cautions.BLAME, cautions.TAXES),
    answers={
        200: Answer(
            "A page of rows, or all of them.",
            {JSON: shapes.ACCOUNT, table.MEDIA_TYPE: _CSV},
            PAGE_HEADERS,
        )
    },
    problems=("not-yet",),
    lane="costly",
)
@require(*SEES_MONEY)
def list_account() -> Response:
    """The rows, the earliest call first."""
    args = negotiation.read_args()
    if answered_type() == table.MEDIA_TYPE:
        reading = read_now(args)
        return answer_as(
            reading,
            table.CONTENT_TYPE,
            lambda: table.csv_bytes(
                shown.ROW_COLUMNS, map(shown.row_cells, _rows(reading.state, args))
            ),
        )
    page = read_page(args)
    return page_answer(page, _rows(page.reading.state, args), shown.shown_row)


@reports.get("/reports/retakes/totals")
@describe(
    "The account of retakes in sums",
    tag="reports",
    details=f"The sums of the rows of /reports/retakes, by whatever is asked for. {_COUNTED}",
    query=queries.TOTALS_QUERY,
    cautions=(cautions.BLAME, cautions.TAXES),
    answers={200: Answer("The sums.", {JSON: shapes.TOTALS, table.MEDIA_TYPE: _CSV}, READ_HEADERS)},
    problems=("not-yet",),
    lane="costly",
)
@require(*SEES_MONEY)
def list_account_totals() -> Response:
    """The sums, by group."""
    args = negotiation.read_args()
    by = tuple(dict.fromkeys(args["group_by"]))
    reading = read_now(args)

    def sums() -> list[Total]:
        return totals(_rows(reading.state, args), by)

    if answered_type() == table.MEDIA_TYPE:
        return answer_as(
            reading,
            table.CONTENT_TYPE,
            lambda: table.csv_bytes(
                shown.total_columns(by), [shown.total_cells(total, by) for total in sums()]
            ),
        )
    return answer(
        reading,
        lambda: shown.TotalsShown(items=[shown.shown_total(total, by) for total in sums()]),
    )


def _rows(state: State, args: Mapping[str, Any]) -> list[AccountRow]:
    wanted = {name: args[name] for name in GROUPS if name in args}
    codes = [code for code, retake in state.retakes.items() if _may_have(state, retake, wanted)]
    codes.sort(key=lambda code: state.retakes[code].position)
    return [
        row
        for row in account(state, codes)
        if all(GROUPS[name](row) == value for name, value in wanted.items())
    ]


def _may_have(state: State, retake: Retake, wanted: Mapping[str, str]) -> bool:
    """Whether a retake need be counted: what the call itself says is looked at first."""
    for name in ("kind", "asked_by", "found_at", "called_by", "fault_of"):
        if name in wanted and getattr(retake, name) != wanted[name]:
            return False
    if "show" in wanted:
        subject = parse_subject(retake.subject)
        if subject is None or subject.show != wanted["show"]:
            return False
    if "month" in wanted:
        on = studio_date(state, retake.called_us)
        if on is None or on.strftime("%Y-%m") != wanted["month"]:
            return False
    return True
