"""Pages of an answer that is made of one position of the log and one moment.

A cursor names both, so that what is recorded meanwhile neither doubles nor drops anything between
two pages of one list.
"""

import base64
import hashlib
import json
from collections.abc import Mapping
from typing import NamedTuple

from service.web.negotiation import invalid_query
from service.web.pointers import FieldError
from service.web.strict_json import WHOLE_MAX


class Place(NamedTuple):
    """Where a list goes on: of which position and minute it is, and how many came before."""

    position: int
    now_min: int
    offset: int


def _seal(place: Place, query: Mapping[str, object]) -> str:
    told = json.dumps([place, query], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(told.encode(), digest_size=6).hexdigest()


def make_cursor(place: Place, query: Mapping[str, object]) -> str:
    """An opaque cursor of a place in the answer to a query."""
    told = json.dumps([*place, _seal(place, query)], separators=(",", ":"))
    return base64.urlsafe_b64encode(told.encode()).decode().rstrip("=")


def read_cursor(cursor: str, query: Mapping[str, object]) -> Place:
    """The place of a cursor made for the same query. Raises ProblemError (400)."""
    try:
        raw = base64.b64decode(cursor + "=" * (-len(cursor) % 4), b"-_", validate=True)
        *numbers, _ = json.loads(raw)
        place = Place(*numbers)
        good = all(type(number) is int and 0 <= number <= WHOLE_MAX for number in place)
        if good and make_cursor(place, query) == cursor:
            return place
    except (ValueError, TypeError, RecursionError):
        pass
    told = "Pass a cursor as it was given, with the same other arguments; or begin without one."
    raise invalid_query(FieldError("?cursor", told, "wrong-cursor"))
