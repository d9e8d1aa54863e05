"""The account of retakes over HTTP: rows and sums, JSON and CSV, filters, and who may read them."""

import csv
import io
from decimal import Decimal
from typing import Any

import pytest

from ..paper import Paper

CARD: dict[str, Any] = {
    "currency": "EUR",
    "from_on": "2031-01-01",
    "rates": {"layout": "40", "animation": "12.50"},
}
CALL: dict[str, Any] = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "should-fix",
    "back_to": "layout",
    "strands": ["background", "character"],
    "share": 0.25,
    "found_at": "screening",
    "fault_of": "layout",
    "asked_by": "client",
    "why": "=The lamp is on the left.",
}
ROWS, SUMS = "/reports/retakes", "/reports/retakes/totals"
AS_CSV = {"Accept": "text/csv"}


@pytest.fixture
def called(opened: Paper) -> Paper:
    """Layout in both episodes, animation and paint of the first; a retake, and a month later two.

    R1 on KESTREL-1/1: a quarter of layout, animation (on a desk) and of paint (no rate).
    R2, R3 on KESTREL-2/1: half of layout, and R3 absorbs as much into the same take.
    """
    opened.tell("rate.set", "KESTREL", CARD, who="office")
    opened.move_clock("2031-03-03T15:00:00Z")
    for scene in ("KESTREL-1/1", "KESTREL-2/1"):
        opened.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "paint", start="2031-03-03T13:00:00Z", end=opened.now)
    opened.desk("KESTREL-1/1", "animation", start="2031-03-03T13:00:00Z")
    opened.tell("retake.called", "KESTREL-1/1", CALL)
    opened.move_clock("2031-04-01T15:00:00Z")
    half = {"kind": "correction", "share": 0.5, "asked_by": "studio", "found_at": "layout"}
    opened.tell("retake.called", "KESTREL-2/1", CALL | half | {"retake": "R2"})
    opened.tell("retake.called", "KESTREL-2/1", CALL | half | {"retake": "R3"})
    return opened


def table(paper: Paper, path: str) -> list[dict[str, str]]:
    answer = paper.ask(path, headers=AS_CSV)
    assert answer.status_code == 200
    assert answer.content_type == "text/csv; charset=utf-8; header=present"
    assert answer.data.count(b"\n") == answer.data.count(b"\r\n")
    return list(csv.DictReader(io.StringIO(answer.get_data(as_text=True), newline="")))


def test_a_row_tells_what_was_redone_where_for_whom_and_at_what_cost(called: Paper) -> None:
    layout, animation, paint = called.get(f"{ROWS}?month=2031-03")["items"]
    assert layout == {
        "retake": "R1",
        "show": "KESTREL",
        "episode": "KESTREL-1",
        "called_on": "2031-03-03",
        "month": "2031-03",
        "kind": "retake",
        "urgency": "should-fix",
        "standing": "standing",
        "asked_by": "client",
        "found_at": "screening",
        "called_by": "supervisor",
        "fault_of": "layout",
        "department": "layout",
        "unit": "scenes",
        "visits": 1,
        "work": 0.25,
        "artist_days": 0.125,
        "rate": "40",
        "currency": "EUR",
        "cost": "10.00",
        "unpriced": False,
    }
    # five feet at five a day, two of eight hours done: a quarter of 1.25 feet at 12.50
    assert (animation["work"], animation["cost"]) == (0.3125, "3.91")
    # 40 drawings, a quarter of them; the card has no rate for paint
    assert (paint["work"], paint["rate"], paint["cost"]) == (10, None, None)
    assert paint["unpriced"]


def test_sums_of_the_same(called: Paper) -> None:
    (whole,) = called.get(SUMS)["items"]
    # 10.00 + 3.91 for R1; a whole scene of layout at 40, half of it for each of R2 and R3
    assert (whole["of"], whole["retakes"], whole["visits"]) == ({}, 3, 5)
    assert (whole["cost"], whole["unpriced"], whole["uncrewed"]) == ("53.91", ["paint"], [])
    assert whole["works"] == [
        {"department": "animation", "unit": "feet", "work": 0.3125},
        {"department": "layout", "unit": "scenes", "work": 1.25},
        {"department": "paint", "unit": "drawings", "work": 10},
    ]
    by_month = called.get(f"{SUMS}?group_by=month&group_by=kind")["items"]
    assert [(one["of"], one["cost"], one["retakes"]) for one in by_month] == [
        ({"month": "2031-03", "kind": "retake"}, "13.91", 1),
        ({"month": "2031-04", "kind": "correction"}, "40.00", 2),
    ]


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ("", "R1 R2 R3"),
        ("?show=KESTREL", "R1 R2 R3"),
        ("?show=ASTER", ""),
        ("?episode=KESTREL-2", "R2 R3"),
        ("?month=2031-03", "R1"),
        ("?month=2031-05", ""),
        ("?kind=correction", "R2 R3"),
        ("?kind=revision", ""),
        ("?asked_by=client", "R1"),
        ("?found_at=layout", "R2 R3"),
        ("?called_by=supervisor&fault_of=layout", "R1 R2 R3"),
        ("?fault_of=paint", ""),
        ("?department=animation", "R1"),
    ],
)
def test_filters(called: Paper, query: str, codes: str) -> None:
    items = called.get(f"{ROWS}{query}")["items"]
    assert list(dict.fromkeys(row["retake"] for row in items)) == codes.split()
    assert sum(one["visits"] for one in called.get(f"{SUMS}{query}")["items"]) == sum(
        row["visits"] for row in items
    )


@pytest.mark.parametrize("group", ["show", "episode", "month", "kind", "asked_by", "department"])
def test_the_sums_agree_with_the_rows(called: Paper, group: str) -> None:
    rows = called.get(ROWS)["items"]
    for one in called.get(f"{SUMS}?group_by={group}")["items"]:
        mine = [row for row in rows if row[group] == one["of"][group]]
        assert one["visits"] == sum(row["visits"] for row in mine)
        assert Decimal(one["cost"]) == sum(Decimal(row["cost"] or 0) for row in mine)
        assert one["artist_days"] == sum(row["artist_days"] for row in mine)


def test_the_same_as_csv(called: Paper) -> None:
    items, rows = called.get(ROWS)["items"], table(called, ROWS)
    assert [list(row) for row in rows] == [list(items[0])] * len(items)
    for item, row in zip(items, rows, strict=True):
        assert row == {name: in_a_cell(value) for name, value in item.items()}


def in_a_cell(value: object) -> str:
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


def test_sums_as_csv(called: Paper) -> None:
    rows = table(called, f"{SUMS}?group_by=department&group_by=asked_by")
    assert rows[1] == {
        "department": "layout",
        "asked_by": "client",
        "unit": "scenes",
        "work": "0.25",
        "retakes": "1",
        "visits": "1",
        "artist_days": "0.125",
        "currency": "EUR",
        "cost": "10.00",
        "unpriced": "",
        "uncrewed": "",
    }
    assert [(row["department"], row["cost"], row["unpriced"]) for row in rows] == [
        ("animation", "3.91", ""),
        ("layout", "10.00", ""),
        ("layout", "40.00", ""),
        ("paint", "0.00", "paint"),
    ]


def test_pages_and_tags(called: Paper) -> None:
    assert called.all_pages(ROWS, 2) == called.get(ROWS)["items"]
    for headers in ({}, AS_CSV):
        answer = called.ask(ROWS, headers=headers)
        assert "Accept" in answer.headers["Vary"]
        tag = answer.headers["ETag"]
        assert called.ask(ROWS, headers=headers | {"If-None-Match": tag}).status_code == 304
    assert called.ask(ROWS).headers["ETag"] != called.ask(ROWS, headers=AS_CSV).headers["ETag"]


def test_no_personal_text_leaves_with_it(called: Paper) -> None:
    assert b"lamp" not in called.ask(ROWS).data + called.ask(ROWS, headers=AS_CSV).data


@pytest.mark.parametrize("path", [ROWS, SUMS])
def test_who_may_read_it(called: Paper, path: str) -> None:
    for who in ("office", "supervisor", "producer", "auditor"):
        assert called.get(path, who)["items"]
    assert called.refused(path, "layout") == (403, "insufficient-scope", [])


def test_what_is_wrong(called: Paper) -> None:
    answer = called.ask(ROWS, headers={"Accept": "image/png"})
    assert called.problem(answer) == (406, "not-acceptable", [])
    assert called.refused(f"{ROWS}?month=2031-13")[2] == [("?month", "not-a-month")]
    assert called.refused(f"{SUMS}?group_by=mood")[2] == [("?group_by", "not-a-choice")]
    assert called.refused(f"{ROWS}?group_by=kind")[2] == [("?group_by", "unknown-argument")]
