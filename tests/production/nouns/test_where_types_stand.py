"""To add a type of fact takes few files: where the service names each, and why some stand wider."""

import re
from functools import cache

import pytest

from service.vocabulary.facts import CATALOGUE
from tests.places import TOP

PLACES = ("vocabulary/facts/", "production/nouns/")  # its example, a test of examples wants
MOST = 4
WIDER = {
    "event.struck": "a strike changes which events stand, not what one of them changes",
    "change-order.approved": "an approval records other facts behind it",
    "text.forgotten": "the owner of the database records it, not a token",
    "retake.called": "approvals and change orders call retakes too",
    "route.laid": "its members are what a route is made of",
    "gate.set": "change orders set dates too; it has an earlier version",
    "note.given": "its text is shown by itself",
    "note.answered": "its text is shown by itself",
    "work.started": "the client's example is of it",
}


@cache
def sources() -> dict[str, str]:
    """The service's modules by their paths."""
    top = TOP / "service"
    return {str(path.relative_to(top)): path.read_text() for path in top.rglob("*.py")}


def named_in(type_: str) -> list[str]:
    """The modules that name a type or its fact."""
    names = re.compile(rf'"{re.escape(type_)}"|\b{CATALOGUE[type_].__name__}\b')
    return [path for path, text in sources().items() if names.search(text)]


@pytest.mark.parametrize("type_", CATALOGUE)
def test_a_type_is_named_in_few_places(type_: str) -> None:
    found = named_in(type_)
    for place in PLACES:
        assert sum(path.startswith(place) for path in found) >= 1, place
    assert (len(found) > MOST) == (type_ in WIDER), found
