"""Every example of the OpenAPI document is accepted by a studio that is prepared for it."""

from collections.abc import Iterator
from typing import Any

import pytest

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE
from service.web.app import bare_app
from service.web.document import document
from service.web.schemas.examples import example_events

from .lantern import Lantern, is_the_owners


def test_each_example_is_accepted_from_the_role_that_may_post_it(lantern: Lantern) -> None:
    refused, marked = {}, {}
    for event in lantern.examples():
        if is_the_owners(event):
            lantern.erase(event)
            (recorded,) = lantern.get(f"/events?type={event['type']}")
            assert recorded["data"] == event["data"]
            continue
        answer = lantern.post("/events", event, event["source"])
        body = answer.get_json()
        if answer.status_code != 201:
            refused[event["id"]] = body
        elif body["receipts"][0]["marks"]:
            marked[event["id"]] = body["receipts"][0]["marks"]
    assert refused == {}
    # they show what is usual, but for the one by which a hard date goes
    assert marked == {"example-event.struck-2": ["hard-date-moved"]}


def test_the_document_shows_the_examples() -> None:
    schemas = document(bare_app())["components"]["schemas"]
    shown = {name: shape["examples"] for name, shape in schemas.items() if "examples" in shape}
    assert shown == {
        f"{fact.__name__}Event": example_events(type_) for type_, fact in CATALOGUE.items()
    }


@pytest.mark.parametrize("type_", CATALOGUE)
def test_the_examples_of_a_type_have_all_its_members(type_: str) -> None:
    shown = {name for event in example_events(type_) for name in names_in(event["data"])}
    assert shown == set(members_of(CATALOGUE[type_]))


def names_in(value: object) -> Iterator[str]:
    """The names of all members, but those that are a table's own."""
    if isinstance(value, list):
        for part in value:
            yield from names_in(part)
    elif isinstance(value, dict):
        for name, part in value.items():
            yield name
            if name not in TABLES:
                yield from names_in(part)


def members_of(cls: type) -> Iterator[str]:
    """The names of the members of a dataclass and of the groups within."""
    for member in kinds.members(cls):
        yield member.name
        kind: Any = member.kind
        while isinstance(kind, kinds.Listing):
            kind = kind.of
        if isinstance(kind, kinds.Group):
            yield from members_of(kind.of)


TABLES = {"difficulty", "work", "rates"}
