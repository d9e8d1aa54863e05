"""Cursors: where a list goes on, as text that holds for one list alone.

A list is cut either by the number of its last row, or by its offset in an answer that is made of
one position of the log and one moment. A cursor then names both, so that what is recorded meanwhile
neither doubles nor drops anything between two pages.

The checksum in a cursor is against mistakes and is no secret. Whoever makes one up reads what any
token may read, an earlier state, and waits with those who ask for a replay.
"""

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from urllib.parse import parse_qs, urlencode

from flask import Response, g, request

from service.web.negotiation import invalid_query
from service.web.pointers import FieldError
from service.web.strict_json import WHOLE_MAX


class Place(NamedTuple):
    """Where a list goes on: of which position and minute it is, and how many came before."""

    position: int
    now_min: int
    offset: int


def of_this_list(filters: Mapping[str, Any]) -> dict[str, Any]:
    """What a cursor holds for: the filters, the studio and the address of the list asked for."""
    return {**filters, "studio": g.token.studio, "path": request.path}


def number_of(args: Mapping[str, Any], query: Mapping[str, object], first: int = 0) -> int:
    """Behind which number a list goes on: that of the cursor in its arguments, or `first`.

    Raises ProblemError (400).
    """
    return read_cursor(args["cursor"], query)[0] if "cursor" in args else first


def make_cursor(numbers: Sequence[int], query: Mapping[str, object]) -> str:
    """An opaque cursor of a place, said in whole numbers, in the answers to a query."""
    written = json.dumps([*numbers, _checksum(numbers, query)], separators=(",", ":"))
    return base64.urlsafe_b64encode(written.encode()).decode().rstrip("=")


def read_cursor(cursor: str, query: Mapping[str, object], count: int = 1) -> list[int]:
    """The numbers of a cursor that was made of so many for the same query.

    Raises ProblemError (400) for every other text.
    """
    numbers = _items(cursor)[:-1]
    whole = all(type(number) is int and 0 <= number <= WHOLE_MAX for number in numbers)
    if whole and len(numbers) == count and make_cursor(numbers, query) == cursor:
        return numbers
    remedy = "Pass a cursor as it was given, with the same other arguments; or begin without one."
    raise invalid_query(FieldError("?cursor", remedy, "wrong-cursor"))


def names_a_state(query: bytes) -> bool:
    """Whether a query has a cursor that names a position and a moment."""
    if b"=" not in query:
        return False
    cursors = parse_qs(query.decode("latin-1"), encoding="latin-1").get("cursor", ())
    return any(len(_items(cursor)) == len(Place._fields) + 1 for cursor in cursors)


def _items(cursor: str) -> list[Any]:
    """What a cursor is made of, empty where it is none."""
    try:
        raw = base64.b64decode(cursor + "=" * (-len(cursor) % 4), b"-_", validate=True)
        made_of = json.loads(raw)
    except (ValueError, RecursionError):
        return []
    return made_of if isinstance(made_of, list) else []


def _checksum(numbers: Sequence[int], query: Mapping[str, object]) -> str:
    # a reader of the log may keep a cursor for long, so that what it is made of stays as it was
    place = numbers[0] if len(numbers) == 1 else list(numbers)
    written = json.dumps([place, query], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(written.encode(), digest_size=6).hexdigest()


def link_next(path: str, query: Mapping[str, object], cursor: str) -> str:
    """The value of an RFC 8288 Link header to what follows."""
    arguments = urlencode([*_pairs(query), ("cursor", cursor)])
    return f'<{path}?{arguments}>; rel="next"'


def _pairs(query: Mapping[str, object]) -> list[tuple[str, str]]:
    pairs = []
    for name, value in query.items():
        values = value if isinstance(value, list | tuple) else [value]
        pairs += [(name, str(one)) for one in values]
    return pairs


def say_next(answer: Response, filters: Mapping[str, object], limit: int, cursor: str) -> None:
    """Say in the header of a page where what follows is to be had."""
    answer.headers["Link"] = link_next(request.path, {**filters, "limit": limit}, cursor)
