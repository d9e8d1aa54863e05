"""The quotation of a change order, to be printed."""

from typing import NamedTuple

from flask import Blueprint, Response, g
from jinja2 import Environment, PackageLoader, StrictUndefined

from service.feeds.quotation import PAPERS, Made, Sheet, sheet
from service.log.studios import find_studio
from service.planning.board.board import advance
from service.planning.compare.impact import compare
from service.planning.compare.pricing import quote
from service.planning.plan.schedule import RULES_VERSION, schedule
from service.production.decide import carried_out
from service.production.ordered import Order, OrderStep
from service.production.orders import MOVES, PRICED
from service.production.refusal import Refusal
from service.production.state import State
from service.vocabulary import cautions
from service.vocabulary.facts.base import SEES_MONEY
from service.vocabulary.instants import US_PER_MIN, instant
from service.vocabulary.zones import ZONE_DATA_VERSION
from service.web import negotiation
from service.web.accept import answered_type
from service.web.access import require
from service.web.described import Answer, describe
from service.web.nouns.orders.answers import concerns_of
from service.web.nouns.orders.routes import no_quote, the_order
from service.web.problems import ProblemError
from service.web.reading import Reading, answer_as, read_now
from service.web.recorded import texts_at
from service.web.schemas import query
from service.web.schemas.reading import READ_HEADERS, ReadQuery
from service.web.services import services

quotations = Blueprint("quotations", __name__)

HTML, PDF = "text/html", "application/pdf"
# the page brings its own style and nothing else
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_PAGES = Environment(
    loader=PackageLoader("service.web", "pages"), autoescape=True, undefined=StrictUndefined
)


class QuotationQuery(ReadQuery):
    """Arguments of a quotation."""

    paper = query.one_of(
        PAPERS,
        "The paper of the PDF. The HTML fits whatever it is printed on.",
        load_default="a4",
    )


_QUERY = QuotationQuery()


@quotations.get("/change-orders/<order>/quotation")
@describe(
    "The quotation of a change order, to be printed",
    tag="change orders",
    details="HTML, or PDF where `Accept` asks for it. Of a priced order it is that of the price, "
    "for good: figures and dates as they followed from the record when it was priced. Of one that "
    "is not priced it is an estimate of now, and says so. The PDF has no glyphs for Chinese, "
    "Japanese and Korean: they come out as question marks.",
    query=_QUERY,
    cautions=(cautions.TAXES,),
    answers={
        200: Answer(
            "The quotation.",
            {
                HTML: {"type": "string"},
                PDF: {"type": "string", "contentMediaType": PDF, "contentEncoding": "binary"},
            },
            READ_HEADERS,
        )
    },
    problems=("not-found", "no-quote", "not-yet"),
    lane="costly",
)
@require(*SEES_MONEY)
def show_quotation(order: str) -> Response:
    """The quotation, as a page or as a document."""
    args = negotiation.read_args()
    now = read_now(args)
    record = the_order(now.state, order)
    then, at_us = _then(now, order, record)
    texts = _texts(record)
    if answered_type() == PDF:
        shown = answer_as(
            then,
            PDF,
            lambda: _pdf(_sheet(then, order, record, texts, at_us), at_us, args["paper"]),
            record,
            texts,
        )
        shown.headers["Content-Disposition"] = f'inline; filename="{order}.pdf"'
    else:
        shown = answer_as(
            then,
            f"{HTML}; charset=utf-8",
            lambda: page(_sheet(then, order, record, texts, at_us)),
            record,
            texts,
        )
        shown.headers["Content-Security-Policy"] = _POLICY
    return shown


def page(sheet: Sheet) -> bytes:
    """The sheet as HTML."""
    return _PAGES.get_template("quotation.html").render(sheet=sheet).encode("utf-8")


def _pdf(sheet: Sheet, at_us: int, paper: str) -> bytes:
    """The sheet as PDF."""
    from service.feeds.quotation_pdf import quotation_pdf  # noqa: PLC0415  # 20 MiB, and seldom asked

    return quotation_pdf(sheet, instant(at_us), paper)


def _then(now: Reading, code: str, order: Order) -> tuple[Reading, int]:
    """What a quotation is made from: the record before the price and its moment, else now."""
    priced = _priced(order)
    if priced is None:
        if not MOVES[order.standing]:
            raise ProblemError("no-quote", f"{code} is {order.standing} and was never priced.")
        return now, now.view.now_us
    position = priced.position - 1
    state = now.studio.history.as_known_at(position)
    return now.at(state, position, priced.at_us // US_PER_MIN), priced.at_us


def _priced(order: Order) -> OrderStep | None:
    """The last time the order was priced."""
    return next((step for step in reversed(order.steps) if step.standing == PRICED), None)


class _Texts(NamedTuple):
    """What is not in the log: the studio's own name, and what was asked for in whose words."""

    studio: str
    words: str


def _texts(order: Order) -> _Texts:
    with services().engine.connect() as connection:
        texts = texts_at(connection, g.token, concerns_of(order), {"/data/words"})
        studio = find_studio(connection, g.token.studio)
    words = texts.get(order.steps[0].position, {}).get("/data/words")
    return _Texts(g.token.studio if studio is None else studio.title, words or "")


def _sheet(then: Reading, code: str, order: Order, texts: _Texts, at_us: int) -> Sheet:
    made = quote(then.state, code, then.position, at_us)
    if isinstance(made, Refusal):
        raise no_quote(code, made)
    after = _after(then, code, at_us)
    return sheet(
        Made(
            studio=texts.studio,
            code=code,
            order=order,
            words=texts.words,
            quote=made,
            impact=compare(
                then.schedule, schedule(advance(then.schedule.board, after), then.now_min)
            ),
            state=then.state,
            after=after,
            at_us=at_us,
            versions=f"rules {RULES_VERSION}, time zone data {ZONE_DATA_VERSION}",
        )
    )


def _after(then: Reading, code: str, at_us: int) -> State:
    """The record with the order carried out."""
    states = carried_out(then.state, code, then.position, at_us)
    return then.state if isinstance(states, Refusal) or not states else states[-1]
