"""The texts of a quotation, and the paper they are put on; read back with pypdf."""

import io
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from hashlib import sha256

import pytest
from pypdf import PdfReader

from service.feeds.quotation import Made, Sheet, sheet
from service.feeds.quotation_pdf import quotation_pdf
from service.planning.board.board import make_board
from service.planning.compare.impact import compare
from service.planning.compare.pricing import Quote, QuotedLine, QuotedWork
from service.planning.plan.schedule import schedule
from service.production.ordered import Order, OrderStep
from service.vocabulary.facts.orders import OrderLine
from service.vocabulary.instants import parse_instant
from tests.places import TOP
from tests.telling import studio

AT = "2031-03-03T08:00:00Z"


def made(currency: str, rate: str, amount: str, line: OrderLine | None = None) -> Made:
    """A quotation of one line: a quarter of a scene's layout and a hundred drawings of paint."""
    state = studio().state
    works = (
        QuotedWork("layout", "scenes", 2_500, 0, 0, Decimal(rate)),
        QuotedWork("paint", "drawings", 0, 1_000_000, 12_345, Decimal("1")),
    )
    order_line = line or OrderLine(change="omit", scene="KESTREL-1/2")
    quoted = QuotedLine(1, order_line.change, ("KESTREL-1/2",), works, None, Decimal(amount))
    quote = Quote(
        "CO-1", "KESTREL", currency, 8_050, date(2031, 3, 3), 9, (quoted,), Decimal(amount)
    )
    plan = schedule(make_board(state), parse_instant(AT) // 60_000_000)
    steps = (OrderStep("raised", 8, parse_instant(AT), "supervisor", "supervisor"),)
    order = Order("KESTREL", "client", (order_line,), steps)
    return Made(
        studio="Paper Lantern",
        code="CO-1",
        order=order,
        words="",
        quote=quote,
        impact=compare(plan, plan),
        state=state,
        after=state,
        at_us=parse_instant(AT),
        versions="rules 1",
    )


@pytest.mark.parametrize(
    ("currency", "rate", "amount", "shown"),
    [
        # minor units by ISO 4217: none, two and three decimals
        ("JPY", "4100", "1234567", ("4,100", "1", "1,234,567")),
        ("EUR", "40.125", "-1234.5", ("40.125", "1.000", "-1,234.50")),
        ("KWD", "40.5", "12.3456", ("40.500", "1.000", "12.346")),
    ],
)
def test_figures_of_a_column_have_the_same_decimals(
    currency: str, rate: str, amount: str, shown: tuple[str, str, str]
) -> None:
    quotation = sheet(made(currency, rate, amount))
    (line,) = quotation.lines
    assert (line.works[0].rate, line.works[1].rate, line.amount) == shown
    assert quotation.total == shown[2]
    # four decimals because one of the quantities needs them
    assert [work.redone for work in line.works] == ["0.2500", "-"]
    assert (line.works[1].added, line.works[1].dropped) == ("100.0000", "1.2345")
    assert "80.5 % of the rate" in quotation.rule


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            OrderLine("retake", items=("A-1/1",), back_to="layout", strands=("character",),
                      share_e4=2_550),
            "Revision from layout on (character), 25.5 % of the drawings: KESTREL-1/2",
        ),
        (
            OrderLine("retake", items=("A-1/1",), back_to="layout", strands=("sound", "character"),
                      drawings=3, kind="retake"),
            "Retake from layout on (character, sound), 3 drawings of each: KESTREL-1/2",
        ),
        (OrderLine("add", scene="A-1/9", frames=200), "New scene A-1/9, 200 frames (12 ft 8 fr)"),
        (OrderLine("retime", scene="A-1/9", frames=8), "New length of A-1/9: 8 frames (0 ft 8 fr)"),
        (OrderLine("omit", scene="A-1/9"), "Omit A-1/9"),
        (OrderLine("restore", scene="A-1/9"), "Restore A-1/9"),
        (OrderLine("redesign", element="A:B"), "New design of A:B"),
        (OrderLine("fee", amount=Decimal(1), what="Freight"), "Fee: Freight"),
    ],
)  # fmt: skip
def test_a_line_in_words(line: OrderLine, words: str) -> None:
    assert sheet(made("EUR", "1", "1", line)).lines[0].what == words


def test_a_delivery_over_days_off_behind_its_date_is_late_with_a_margin_of_0() -> None:
    before = made("EUR", "1", "1")
    friday = date(2031, 4, 18)
    episode = before.impact.episodes[0]._replace(
        due_on=friday,
        delivery_before_on=friday,
        delivery_after_on=date(2031, 4, 19),
        margin_workdays_before=0,
        margin_workdays_after=0,
    )
    (move,) = sheet(replace(before, impact=replace(before.impact, episodes=(episode,)))).moves
    assert (move.margin_before, move.margin_after) == ("0", "0 (late)")


def on_paper(quotation: Sheet) -> str:
    made_at = datetime(2031, 3, 3, tzinfo=UTC)
    pages = PdfReader(io.BytesIO(quotation_pdf(quotation, made_at, "a4"))).pages
    return "\n".join(page.extract_text() for page in pages)


def test_what_the_font_has_not_is_a_question_mark() -> None:
    quotation = replace(sheet(made("EUR", "1", "1")), words="Ångström Ελληνικά Кино 日本語")
    assert "Ångström Ελληνικά Кино ???" in on_paper(quotation)


def test_a_line_longer_than_a_page_is_whole() -> None:
    quotation = sheet(made("EUR", "1", "1"))
    long = replace(
        quotation.lines[0], what=", ".join(f"KESTREL-1/{number}" for number in range(1000))
    )
    text = on_paper(replace(quotation, lines=(long, quotation.lines[0]))).replace("\n", " ")
    assert all(f"KESTREL-1/{number}," in text for number in range(999))


_IN_ANOTHER_PROCESS = """
from tests.feeds.test_quotation import digest
print(digest())
"""


def digest() -> str:
    """The SHA-256 of a quotation on paper."""
    page = quotation_pdf(sheet(made("EUR", "1", "1")), datetime(2031, 3, 3, tzinfo=UTC), "a4")
    return sha256(page).hexdigest()


def test_another_process_makes_the_same_bytes() -> None:
    other = "1" if os.environ.get("PYTHONHASHSEED") == "0" else "0"
    done = subprocess.run(
        [sys.executable, "-c", _IN_ANOTHER_PROCESS],
        env={"PYTHONHASHSEED": other, "PATH": "", "HOME": "/"},
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == digest()
