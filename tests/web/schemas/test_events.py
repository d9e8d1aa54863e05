"""Events as posted: every error at once, and personal members set apart."""

import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.canonical import late, splice
from service.record import propose
from service.vocabulary import kinds
from service.vocabulary.event import read_event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.instants import parse_instant
from service.web.pointers import put, step
from service.web.schemas.events import check_event, merge_personal, split_personal
from service.web.schemas.examples import example_events
from tests.examples import example_event
from tests.properties import tried

NOTE: dict[str, Any] = {
    "specversion": "1.0",
    "id": "n1",
    "source": "//lantern/layout",
    "type": "note.given",
    "subject": "LANTERN-104/42",
    "time": "2031-03-04T09:30:00Z",
    "data": {"note": "N1", "to": "layout", "text": "Lamp is left."},
}


def errors_with(**changed: Any) -> list[tuple[str, str]]:
    return [(error.pointer, error.code) for error in check_event({**NOTE, **changed})]


@pytest.mark.parametrize("type_", CATALOGUE)
def test_the_examples_of_every_type_are_in_order_and_revive(type_: str) -> None:
    for event in example_events(type_):
        assert check_event(event) == []
        fact = kinds.reviver(CATALOGUE[type_])(event["data"])
        assert isinstance(fact, CATALOGUE[type_])
        assert parse_instant(event["time"]) > 0


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_missing_member_of_an_event_is_reported(type_: str) -> None:
    found = {error.pointer for error in check_event({**example_event(type_), "data": {}})}
    wanted = {f"/data/{m.name}" for m in kinds.members(CATALOGUE[type_]) if m.required}
    assert found == wanted


@pytest.mark.parametrize(
    ("name", "value", "code"),
    [
        ("specversion", "0.3", "wrong-version"),
        ("specversion", 1.0, "wrong-version"),
        ("id", "", "not-an-id"),
        ("id", "x" * 257, "not-an-id"),
        ("id", "a\nb", "not-an-id"),
        ("id", "a\ufffeb", "not-an-id"),
        ("id", 7, "not-an-id"),
        ("source", "", "not-a-uri-reference"),
        ("source", "a b", "not-a-uri-reference"),
        ("source", "%zz", "not-a-uri-reference"),
        ("source", "a#b#c", "not-a-uri-reference"),
        ("source", "1a:b", "not-a-uri-reference"),
        ("source", "/[x]", "not-a-uri-reference"),
        ("source", "/ä", "not-a-uri-reference"),
        ("type", "note.gone", "unknown-type"),
        ("type", ["note.given"], "unknown-type"),
        ("subject", "lantern", "not-a-subject"),
        ("subject", "LANTERN", "not-a-subject"),
        ("subject", "studio", "not-a-subject"),
        ("subject", "LANTERN-104/42\n", "not-a-subject"),
        ("time", "2031-03-04", "not-an-instant"),
        ("time", "2031-03-04T09:30:00", "not-an-instant"),
        ("datacontenttype", "text/xml", "not-json-data"),
        ("dataschema", "relative", "not-a-uri"),
        ("data", [], "not-an-object"),
        ("data", "text", "not-an-object"),
        ("data_base64", "e30=", "not-json-data"),
        ("position", 1, "set-by-the-log"),
        ("recordedat", "2031-03-04T09:30:00Z", "set-by-the-log"),
        ("poster", "t1", "set-by-the-log"),
        ("personal", "x", "set-by-the-log"),
        ("Colour", "red", "wrong-name"),
        ("my-name", "red", "wrong-name"),
        ("", "red", "wrong-name"),
        ("colour", {"a": 1}, "wrong-value"),
        ("colour", None, "wrong-value"),
        ("colour", 1.5, "wrong-value"),
        ("colour", 2**31, "wrong-value"),
        ("colour", "", "wrong-value"),
        ("colour", "a\tb", "wrong-value"),
        ("traceparent", 1, "wrong-value"),
        ("traceparent", True, "wrong-value"),
    ],
)
def test_a_wrong_attribute_is_refused_where_it_stands(name: str, value: Any, code: str) -> None:
    assert (f"/{name}", code) in errors_with(**{name: value})


@pytest.mark.parametrize("name", ["specversion", "id", "source", "type", "subject", "time", "data"])
def test_each_attribute_of_the_envelope_is_wanted_and_not_null(name: str) -> None:
    without = {key: value for key, value in NOTE.items() if key != name}
    assert (f"/{name}", "missing") in [(e.pointer, e.code) for e in check_event(without)]
    assert (f"/{name}", "null") in errors_with(**{name: None})


# RFC 3986, section 1.1.2 and 5.4.1: references of every form
@pytest.mark.parametrize(
    "source",
    [
        "ftp://ftp.is.co.za/rfc/rfc1808.txt",
        "ldap://[2001:db8::7]/c=GB?objectClass?one",
        "mailto:John.Doe@example.com",
        "tel:+1-816-555-1212",
        "urn:oasis:names:specification:docbook:dtd:xml:4.1.2",
        "g",
        "./g",
        "/g",
        "//g",
        "?y",
        "g?y#s",
        "../..",
        "g;x=1/./y",
        "%20a",
    ],
)
def test_a_source_may_be_any_uri_reference(source: str) -> None:
    assert errors_with(source=source) == []


def test_extensions_and_unknown_members_are_taken() -> None:
    assert errors_with(colour="red", size=7, final=True, traceparent="00-a-b-01") == []
    assert errors_with(data={**NOTE["data"], "mood": {"a": [1, "b"]}}) == []


def test_null_is_refused_in_unknown_members_too() -> None:
    assert errors_with(data={**NOTE["data"], "mood": {"a": [1, None]}}) == [
        ("/data/mood/a/1", "null")
    ]


@pytest.mark.parametrize("event", [None, [], "x", 1, True])
def test_what_is_no_object_is_no_event(event: object) -> None:
    assert [error.code for error in check_event(event)] == ["not-an-object"]


def test_all_errors_are_reported_at_once_and_say_what_is_wanted() -> None:
    errors = check_event(
        {**NOTE, "id": "", "subject": "LANTERN", "size": None, "data": {"note": "?", "text": 1}}
    )
    assert [error.pointer for error in errors] == [
        "/id",
        "/size",
        "/subject",
        "/data/note",
        "/data/to",
        "/data/text",
    ]
    assert "SHOW-EPISODE or SHOW-EPISODE/SCENE or SHOW:ELEMENT" in errors[2].detail


def test_a_misspelt_type_is_answered_with_those_spelt_like_it() -> None:
    (error,) = check_event({**NOTE, "type": "note.givn"})
    assert "note.given" in error.detail


def test_personal_members_are_set_apart_and_come_back() -> None:
    event = {
        **NOTE,
        "colour": "red",
        "traceparent": "00-a-b-01",
        "data": {**NOTE["data"], "who/what": ["Ann"]},
    }
    public, personal = split_personal(event)
    assert public == {
        **NOTE,
        "traceparent": "00-a-b-01",
        "data": {"note": "N1", "to": "layout"},
    }
    assert personal == {
        "/colour": "red",
        "/data/text": "Lamp is left.",
        "/data/who~1what": ["Ann"],
    }
    assert merge_personal(public, personal) == event


def test_unknown_members_inside_lists_are_personal_too() -> None:
    event = example_event("route.laid")
    event["data"]["departments"][1]["follows"][0]["boss"] = "Ann"
    event["data"]["departments"][1]["chief"] = "Bob"
    before = example_event("route.laid")
    public, personal = split_personal(event)
    assert public == before
    assert personal == {
        "/data/departments/1/follows/0/boss": "Ann",
        "/data/departments/1/chief": "Bob",
    }
    assert merge_personal(public, personal) == event


@pytest.mark.parametrize("type_", CATALOGUE)
def test_free_text_of_every_type_is_personal(type_: str) -> None:
    event = example_event(type_)
    public, personal = split_personal(event)
    texts = {m.name for m in kinds.members(CATALOGUE[type_]) if isinstance(m.kind, kinds.Text)}
    assert set(personal) == {f"/data/{name}" for name in texts}
    assert not texts & set(public["data"])
    assert merge_personal(public, personal) == event


ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(-(2**53) + 1, 2**53 - 1)
    | ANY_TEXT
    | st.sampled_from(
        ["layout", "LANTERN-104/42", "2031-03-04", "9999-12-31", "2031-03-04T09:30:00Z", "24:00"]
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(ANY_TEXT, inner, max_size=3),
    max_leaves=8,
)


def places_in(value: object, pointer: str = "") -> list[str]:
    inner: list[tuple[Any, Any]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    return [pointer, *(at for key, item in inner for at in places_in(item, pointer + step(key)))]


@tried(200)
@given(st.sampled_from(sorted(CATALOGUE)), st.data())
def test_what_is_found_in_order_can_be_recorded(type_: str, data: st.DataObject) -> None:
    event = data.draw(st.sampled_from(example_events(type_)))
    for _ in range(data.draw(st.integers(1, 3))):
        pointer = data.draw(st.sampled_from(places_in(event)[1:]))
        if data.draw(st.booleans()):
            pointer = pointer.rpartition("/")[0] + step(data.draw(ANY_TEXT))
        with suppress(TypeError, ValueError, LookupError):
            put(event, pointer, data.draw(ANYTHING))
    errors = check_event(event)
    if errors:
        assert all(error.pointer.startswith("/") and error.detail for error in errors)
        return
    public, personal = split_personal(event)
    fact = kinds.reviver(CATALOGUE[public["type"]])(public["data"])
    proposed = propose(public, personal, fact)
    body = splice(
        proposed.prepared,
        late(position=1, recordedat="2031-03-04T09:30:00Z", poster="somebody"),
    )
    revived = read_event(body)
    assert (revived.fact, revived.subject) == (fact, event["subject"])
    kept = {name: value for name, value in json.loads(body).items() if name in event}
    assert merge_personal(kept, json.loads(proposed.personal or b"{}")) == event
