"""Pages of an answer that is made of one position of the log and one moment.

A cursor names both, so that what is recorded meanwhile neither doubles nor drops anything between
two pages of one list.
"""

from collections.abc import Mapping
from typing import NamedTuple

from service.web import negotiation


class Place(NamedTuple):
    """Where a list goes on: of which position and minute it is, and how many came before."""

    position: int
    now_min: int
    offset: int


def make_cursor(place: Place, query: Mapping[str, object]) -> str:
    """An opaque cursor of a place in the answer to a query."""
    return negotiation.make_cursor(place, query)


def read_cursor(cursor: str, query: Mapping[str, object]) -> Place:
    """The place of a cursor made for the same query. Raises ProblemError (400)."""
    return Place(*negotiation.read_cursor(cursor, query, len(Place._fields)))
