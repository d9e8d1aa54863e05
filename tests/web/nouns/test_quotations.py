"""The quotation of a change order, on paper: every figure of the quote, no active content.

PDF is read back with pypdf, HTML with Python's own parser.
"""

import io
import re
from decimal import Decimal
from html.parser import HTMLParser
from typing import Any

import pytest
from pypdf import PdfReader

from ..paper import Paper

# one unit of each department's work costs 10; what is spared is credited by half
RATES = dict.fromkeys(
    ("storyboard", "layout", "background", "animation", "paint", "camera", "cutting", "mix"), "10"
)
CARD: dict[str, Any] = {"currency": "EUR", "from_on": "2031-01-01", "rates": RATES, "credit": 0.5}

AS_PDF = {"Accept": "application/pdf"}
HOSTILE = '<script>alert(1)</script> & "Kestrel"'
RETAKE = {
    "change": "retake",
    "items": ["KESTREL-1/1", "KESTREL-2/1"],
    "back_to": "layout",
    "strands": ["background", "character"],
    "share": 0.25,
}
LINES: list[dict[str, Any]] = [
    RETAKE,
    {"change": "add", "scene": "KESTREL-1/9", "frames": 200, "drawings": 100, "levels": 2},
    {"change": "omit", "scene": "KESTREL-2/3"},
    {"change": "fee", "amount": "1234.565", "what": "<b>Rush</b> & freight"},
    {"change": "fee", "amount": "-50.00", "what": "Goodwill"},
]
VOID = {"meta", "br"}


@pytest.fixture
def ordered(opened: Paper) -> Paper:
    """An order of five lines, of a show with a hostile title; layout of two scenes handed off."""
    opened.tell("rate.set", "KESTREL", CARD | {"rates": RATES | {"layout": "40.125"}}, who="office")
    opened.move_clock("2031-03-03T15:00:00Z")
    for scene in ("KESTREL-1/1", "KESTREL-2/1"):
        opened.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    data = {"order": "CO-7", "asked_by": "client", "words": HOSTILE, "lines": LINES}
    opened.tell("change-order.raised", "KESTREL", data)
    return opened


def price(paper: Paper, code: str, **more: Any) -> None:
    """Record the price that is quoted."""
    quote = paper.get(f"/change-orders/{code}/quote")
    data = {
        "order": code,
        "position": quote["position"],
        "currency": quote["currency"],
        "lines": [{"line": one["line"], "amount": one["amount"]} for one in quote["lines"]],
        "total": quote["total"],
    }
    subject = paper.get(f"/change-orders/{code}")["subject"]
    paper.tell("change-order.priced", subject, data | more, at=quote["at"])


class Read(HTMLParser):
    """The tags and texts of a page, which must be closed in order."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open and data.strip():
            self.texts.append(data.strip())

    def figures(self) -> list[str]:
        return [text for text in self.texts if re.fullmatch(r"-?[0-9,]+(\.[0-9]+)?", text)]


def page_of(paper: Paper, path: str = "/change-orders/CO-7/quotation") -> Read:
    answer = paper.ask(path)
    assert answer.status_code == 200, answer.get_json()
    assert answer.content_type == "text/html; charset=utf-8"
    return Read(answer.get_data(as_text=True))


def pdf_of(paper: Paper, path: str = "/change-orders/CO-7/quotation") -> tuple[bytes, str]:
    answer = paper.ask(path, headers=AS_PDF)
    assert answer.status_code == 200, answer.get_json()
    assert answer.content_type == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.data))
    return answer.data, "\n".join(page.extract_text() for page in reader.pages)


def figures_of(quote: dict[str, Any]) -> list[str]:
    """What must be on the paper: amounts, the total, rates, and every quantity of work."""
    found = [line["amount"] for line in quote["lines"]] + [quote["total"]]
    for work in (work for line in quote["lines"] for work in line["works"]):
        found += [work["rate"], *(str(work[name]) for name in ("redone", "added", "dropped"))]
    return [figure for figure in found if Decimal(figure)]


def numbers_in(texts: list[str]) -> list[Decimal]:
    return [
        Decimal(word.replace(",", ""))
        for text in texts
        for word in text.split()
        if re.fullmatch(r"-?[0-9][0-9,]*(\.[0-9]+)?", word)
    ]


def test_both_papers_hold_every_figure_of_the_quote(ordered: Paper) -> None:
    price(ordered, "CO-7", valid_until="2031-04-01")
    quote = ordered.get("/change-orders/CO-7/quote")
    assert quote["price_is_stale"] is False
    # 1234.565 to the cent, half to even
    assert [line["amount"] for line in quote["lines"]][3:] == ["1234.56", "-50.00"]
    on_page, on_pdf = numbers_in(page_of(ordered).texts), numbers_in([pdf_of(ordered)[1]])
    for figure in map(Decimal, figures_of(quote)):
        assert figure in on_page
        assert figure in on_pdf
    rows = [text for text in page_of(ordered).texts if text.startswith("Total")]
    assert rows == ["Total, EUR"]


def test_who_what_when_and_on_what_it_rests(ordered: Paper) -> None:
    quote = ordered.get("/change-orders/CO-7/quote")
    price(ordered, "CO-7", valid_until="2031-04-01")
    for text in ("\n".join(page_of(ordered).texts), pdf_of(ordered)[1]):
        for words in (
            "Quotation CO-7",
            "Paper Lantern & Co.",
            "Kestrel (KESTREL)",
            "client",
            "3 March 2031",
        ):
            assert words in text
        assert "1 April 2031" in text
        assert f"up to event {quote['position']}, 3 March 2031, 15:00 (Europe/Lisbon)" in text
        assert "rules" in text
        assert "50 % of the rate" in text


def test_it_says_what_its_dates_suppose_of_a_department_that_does_not_work(ordered: Paper) -> None:
    resting = "paint does not work; it is taken to go on from 4 March 2031, 00:00."
    assert resting not in " ".join(page_of(ordered).texts)
    ordered.tell("department.stopped", "studio", {"department": "paint"})
    assert resting in " ".join(page_of(ordered).texts)
    assert resting in " ".join(pdf_of(ordered)[1].split())


def test_it_names_every_episode_whose_date_moves_and_every_new_length(ordered: Paper) -> None:
    quote = ordered.get("/change-orders/CO-7/quote")
    price(ordered, "CO-7")
    moved = [
        one["episode"]
        for one in quote["impact"]["episodes"]
        if one["margin_workdays_before"] != one["margin_workdays_after"]
    ]
    assert moved
    texts = page_of(ordered).texts
    pdf_text = pdf_of(ordered)[1]
    for episode in moved:
        assert episode in texts
        assert episode in pdf_text
    for length in quote["lengths"]:
        frames = length["after"]["length"]["frames_in_all"]
        assert any(text.startswith(f"{frames} frames") for text in texts)


def test_an_order_that_moves_no_date_says_so(opened: Paper) -> None:
    opened.tell("rate.set", "KESTREL", CARD, who="office")
    fee = {"change": "fee", "amount": "10", "what": "Freight"}
    data = {"order": "CO-8", "asked_by": "studio", "words": "Freight.", "lines": [fee]}
    opened.tell("change-order.raised", "KESTREL-1", data)
    price(opened, "CO-8")
    page = page_of(opened, "/change-orders/CO-8/quotation")
    assert "No episode's delivery date moves." in page.texts
    assert "Number 1 (KESTREL-1)" in page.texts
    assert "no date stated" in page.texts


def test_the_page_runs_nothing_and_fetches_nothing(ordered: Paper) -> None:
    answer = ordered.ask("/change-orders/CO-7/quotation")
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    read = page_of(ordered)
    names = {tag for tag, _ in read.tags}
    assert not names & {"script", "img", "link", "iframe", "object", "form", "b"}
    assert not any(
        name.startswith("on") or name in {"src", "href"} for _, attrs in read.tags for name in attrs
    )
    assert "url(" not in answer.get_data(as_text=True)
    assert HOSTILE in read.texts
    assert any("<b>Rush</b> & freight" in text for text in read.texts)


def test_its_tables_can_be_followed_with_a_screen_reader(ordered: Paper) -> None:
    read = page_of(ordered)
    assert ("html", {"lang": "en"}) in read.tags
    names = [tag for tag, _ in read.tags]
    assert names.count("caption") == names.count("table") >= 2
    scopes = {attrs.get("scope") for tag, attrs in read.tags if tag == "th"}
    assert scopes == {"col", "row", "rowgroup"}


def test_the_paper_of_a_price_stays_what_it_was(ordered: Paper) -> None:
    price(ordered, "CO-7")
    page, pdf = page_of(ordered).texts, pdf_of(ordered)[0]
    card = CARD | {"from_on": "2031-02-01", "rates": dict.fromkeys(RATES, "99")}
    ordered.tell("rate.set", "KESTREL", card, who="producer")
    ordered.move_clock("2031-03-20T15:00:00Z")
    assert ordered.get("/change-orders/CO-7/quote")["price_is_stale"]
    assert page_of(ordered).texts == page
    # the same bytes, on another day and in another process
    assert pdf_of(ordered)[0] == pdf


def test_what_is_not_priced_is_an_estimate_of_now(ordered: Paper) -> None:
    texts = page_of(ordered).texts
    assert "Estimate, not yet a quotation CO-7" in texts
    assert "Valid until" not in texts
    ordered.tell("change-order.withdrawn", "KESTREL", {"order": "CO-7"})
    assert ordered.refused("/change-orders/CO-7/quotation")[:2] == (409, "no-quote")


def test_paper_for_either_side_of_the_ocean(ordered: Paper) -> None:
    for paper, millimetres in (("a4", (210, 297)), ("letter", (216, 279))):
        data, _ = pdf_of(ordered, f"/change-orders/CO-7/quotation?paper={paper}")
        box = PdfReader(io.BytesIO(data)).pages[0].mediabox
        assert (round(box.width * 25.4 / 72), round(box.height * 25.4 / 72)) == millimetres
    assert ordered.refused("/change-orders/CO-7/quotation?paper=a0")[2] == [
        ("?paper", "not-a-choice")
    ]


def test_sixty_lines_go_over_pages_with_the_heading_on_each(opened: Paper) -> None:
    opened.tell("rate.set", "KESTREL", CARD, who="office")
    lines = [
        {"change": "add", "scene": f"KESTREL-1/{100 + number}", "frames": 96, "drawings": 48}
        for number in range(60)
    ]
    data = {"order": "CO-9", "asked_by": "broadcaster", "words": "More.", "lines": lines}
    opened.tell("change-order.raised", "KESTREL-1", data)
    price(opened, "CO-9")
    data_of, _ = pdf_of(opened, "/change-orders/CO-9/quotation")
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(data_of)).pages]
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
    for scene in (f"KESTREL-1/{100 + number}" for number in range(60)):
        assert sum(f"New scene {scene}," in page for page in pages) == 1
    assert all("No longer" in page for page in pages[:-1])


def test_who_may_read_it_and_as_what(ordered: Paper) -> None:
    path = "/change-orders/CO-7/quotation"
    for who in ("office", "supervisor", "producer", "auditor"):
        assert ordered.ask(path, who).status_code == 200
    assert ordered.refused(path, "layout") == (403, "insufficient-scope", [])
    assert ordered.refused("/change-orders/CO-0/quotation") == (404, "not-found", [])
    answer = ordered.ask(path, headers={"Accept": "text/csv"})
    assert ordered.problem(answer)[:2] == (406, "not-acceptable")
    tags = set()
    for headers in ({}, AS_PDF):
        answer = ordered.ask(path, headers=headers)
        tag = answer.headers["ETag"]
        tags.add(tag)
        assert ordered.ask(path, headers=headers | {"If-None-Match": tag}).status_code == 304
    assert len(tags) == 2
