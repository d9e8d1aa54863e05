"""Cursors that name a position, a moment and a place: opaque, and valid for their query alone."""

import base64
import json

import pytest

from service.web.paging import Place, make_cursor, read_cursor
from service.web.problems import ProblemError

PLACE = Place(120, 32_000_000, 40)
QUERY = {"answered": ["no"], "studio": "paper", "path": "/notes"}


def packed(value: object) -> str:
    raw = json.dumps(value, separators=(",", ":")).encode()
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def test_a_cursor_is_read_as_it_was_made() -> None:
    assert read_cursor(make_cursor(PLACE, QUERY), QUERY, 3) == [*PLACE]


@pytest.mark.parametrize(
    "query",
    [QUERY | {"answered": ["yes"]}, QUERY | {"studio": "north"}, QUERY | {"path": "/retakes"}, {}],
)
def test_a_cursor_of_another_query_is_refused(query: dict[str, object]) -> None:
    with pytest.raises(ProblemError) as raised:
        read_cursor(make_cursor(PLACE, QUERY), query, 3)
    assert raised.value.problem.errors[0].code == "wrong-cursor"


@pytest.mark.parametrize(
    "cursor",
    [
        "",
        "a",
        "é",
        "!!!!",
        packed(12),
        packed([]),
        packed([1, 2, 3]),
        packed([1, 2, 3, "0" * 12]),
        packed([1.5, 2, 3, "0" * 12]),
        packed([1, 2, 3, 4, 5]),
        packed({"position": 1}),
        make_cursor(PLACE, QUERY) + "=",
        make_cursor(Place(-1, 0, 0), QUERY),
        make_cursor(Place(0, 0, 2**53), QUERY),
        make_cursor(PLACE, QUERY)[:-1],
        packed("[" * 5000),
    ],
)
def test_what_is_no_cursor_is_refused(cursor: str) -> None:
    with pytest.raises(ProblemError) as raised:
        read_cursor(cursor, QUERY, 3)
    assert raised.value.problem.status == 400
