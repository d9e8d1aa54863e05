"""The OpenAPI document: valid, complete, and the same as the file."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]  # it ships no types
from openapi_spec_validator import OpenAPIV31SpecValidator

from service.vocabulary.facts import CATALOGUE
from service.web import openapi
from service.web.app import bare_app
from service.web.document import document, methods_of, path_of, routes
from service.web.schemas.events import check_event
from service.web.schemas.examples import example_events
from tests.examples import example_event
from tests.places import TOP

FILE = TOP / openapi.FILE


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return document(bare_app())


def test_every_route_says_what_it_does() -> None:
    assert [rule.rule for rule, _, description in routes(bare_app()) if description is None] == []


def test_the_document_is_valid(made: dict[str, Any]) -> None:
    OpenAPIV31SpecValidator(made).validate()


def test_the_file_is_what_the_routes_and_schemas_give() -> None:
    assert FILE.read_text(encoding="utf-8") == openapi.text(), (
        "routes or schemas changed: run `python -m service.web.openapi`"
    )


def test_it_is_written_and_served_as_it_is_made(tmp_path: Path) -> None:
    openapi.write(tmp_path / "new" / "openapi.json")
    written = (tmp_path / "new" / "openapi.json").read_text(encoding="utf-8")
    answer = bare_app().test_client().get("/openapi.json")
    assert (answer.status_code, answer.content_type) == (200, "application/json")
    assert answer.text == written


def checks(made: dict[str, Any], name: str) -> Draft202012Validator:
    return Draft202012Validator(
        {"$ref": f"#/components/schemas/{name}", "components": made["components"]}
    )


@pytest.mark.parametrize("type_", [type_ for type_, fact in CATALOGUE.items() if fact.ROLES])
def test_an_event_of_each_type_meets_its_shape_and_no_other(
    made: dict[str, Any], type_: str
) -> None:
    own = f"{CATALOGUE[type_].__name__}Event"
    mapping = made["components"]["schemas"]["Event"]["discriminator"]["mapping"]
    assert mapping[type_] == f"#/components/schemas/{own}"
    others = {ref.rpartition("/")[2] for ref in mapping.values()} - {own}
    for event in example_events(type_):
        checks(made, "Event").validate(event)
        assert not any(checks(made, other).is_valid(event) for other in others)
        assert not checks(made, own).is_valid({**event, "data": []})


def test_what_nobody_may_record_is_described_but_not_posted(made: dict[str, Any]) -> None:
    checks(made, "TextForgottenEvent").validate(example_event("text.forgotten"))
    assert not checks(made, "Event").is_valid(example_event("text.forgotten"))


def test_roles_security_and_problems_are_described(made: dict[str, Any]) -> None:
    moved = made["paths"]["/clock"]["put"]
    assert "Role: office." in moved["description"]
    assert set(moved["responses"]) >= {"200", "400", "401", "403", "409", "413", "415", "422"}
    assert made["paths"]["/live"]["get"]["security"] == []
    assert made["security"] == [{"token": []}]
    parameters = made["paths"]["/events"]["get"]["parameters"]
    assert [one["name"] for one in parameters] == [
        "cursor",
        "limit",
        "subject",
        "type",
        "department",
        "from",
        "until",
    ]
    (position,) = made["paths"]["/events/{position}"]["get"]["parameters"]
    assert position["schema"]["type"] == "integer"


@pytest.mark.parametrize(
    ("changed", "fits"),
    [
        ({"colour": "red", "size": 7, "matte": True}, True),
        ({"size": 7.0}, True),
        ({"size": 7.5}, False),
        ({"traceparent": "00-1-1-00", "id": "ä" * 256}, True),
        (
            {"data": {"note": "N1", "to": "camera", "text": "T", "kept": {"as": ["it", 1, "is"]}}},
            True,
        ),
        ({"time": "2199-12-31T23:59:59.999999+05:45"}, True),
        ({"position": 3}, False),
        ({"poster": "me"}, False),
        ({"data_base64": "e30="}, False),
        ({"colour": ""}, False),
        ({"colour": None}, False),
        ({"colour": "re\nd"}, False),
        ({"size": 2**31}, False),
        ({"Colour": "red"}, False),
        ({"traceparent": 7}, False),
        ({"id": "a\u0085b"}, False),
        ({"subject": "studio"}, False),
        ({"subject": "LANTERN-104/4 2A"}, False),
        ({"time": "2200-01-01T00:00:00Z"}, False),
        ({"time": "2031-03-04T09:30:60Z"}, False),
        ({"time": "2031-03-04T09:30:00.1234567Z"}, False),
        ({"data": {"note": "N1", "to": "camera", "text": "T", "kept": {"as": [None]}}}, False),
        ({"data": {"note": "N1", "to": "camera", "text": "T", "kept": None}}, False),
    ],
)
def test_the_document_and_the_service_allow_the_same_events(
    made: dict[str, Any], changed: dict[str, Any], fits: bool
) -> None:
    event = example_event("note.given") | changed
    assert checks(made, "Event").is_valid(event) is fits
    assert (check_event(event) == []) is fits


@pytest.mark.parametrize(
    ("kept", "fits"), [("it", True), ([{"as": 1}], True), ([{"as": None}], False), (1e300, False)]
)
def test_members_kept_within_a_member_are_described(
    made: dict[str, Any], kept: object, fits: bool
) -> None:
    event = example_event("retake.called")
    event["data"]["dependents"][0]["kept"] = kept
    assert checks(made, "Event").is_valid(event) is fits
    # a number too large is the strict reader's to refuse
    assert (check_event(event) == []) is (fits or kept == 1e300)


@pytest.mark.parametrize(
    ("work", "fits"),
    [({"ink-and-paint": 2}, True), ({"Layout": 2}, False), ({"a" * 41: 2}, False)],
)
def test_names_in_a_table_are_described(
    made: dict[str, Any], work: dict[str, Any], fits: bool
) -> None:
    event = example_event("scene.listed") | {"data": {"frames": 72, "work": work}}
    assert checks(made, "Event").is_valid(event) is fits
    assert (check_event(event) == []) is fits


def test_addresses_say_the_form_of_their_arguments(made: dict[str, Any]) -> None:
    found = {
        argument["name"]: argument["schema"]
        for route in made["paths"].values()
        for operation in route.values()
        for argument in operation.get("parameters", ())
        if argument["in"] == "path"
    }
    assert re.search(found["episode"]["pattern"], "LANTERN-104")
    assert not re.search(found["episode"]["pattern"], "LANTERN")
    assert re.search(found["scene"]["pattern"], "42A")
    assert found["position"]["minimum"] == 1
    assert "not-found" in found["name"]["enum"]


def test_an_answer_with_a_tag_may_be_unchanged(made: dict[str, Any]) -> None:
    for route in made["paths"].values():
        for operation in route.values():
            tagged = any(
                "ETag" in answer.get("headers", ()) for answer in operation["responses"].values()
            )
            assert ("304" in operation["responses"]) is tagged, operation["operationId"]
    assert "304" in made["paths"]["/episodes/{episode}"]["get"]["responses"]


def test_flags_are_true_or_false(made: dict[str, Any]) -> None:
    assert not {"yes", "no"} & set(words_to_choose_from(made))
    parameters = made["paths"]["/episodes"]["get"]["parameters"]
    (delivered,) = (one for one in parameters if one["name"] == "delivered")
    assert delivered["schema"] == {"type": "boolean"}


def test_no_word_of_a_choice_is_spelled_two_ways(made: dict[str, Any]) -> None:
    spellings: dict[str, set[str]] = {}
    for word in words_to_choose_from(made):
        spellings.setdefault(word.replace("_", "-").lower(), set()).add(word)
    assert "on-desk" in spellings
    assert [words for words in spellings.values() if len(words) > 1] == []


def words_to_choose_from(shape: object) -> Iterator[str]:
    """Every text that a schema lists among the values of a member or an argument."""
    if isinstance(shape, list):
        for part in shape:
            yield from words_to_choose_from(part)
    elif isinstance(shape, dict):
        for value in (*shape.get("enum", ()), shape.get("const")):
            if isinstance(value, str):
                yield value
        for part in shape.values():
            yield from words_to_choose_from(part)


def test_every_pattern_is_of_the_whole_text(made: dict[str, Any]) -> None:
    """JSON Schema looks for a pattern anywhere, the service holds all of the text against it."""
    patterns = set(re.findall(r'"pattern": "((?:[^"\\]|\\.)*)"', json.dumps(made)))
    assert len(patterns) > 10
    assert [one for one in patterns if not (one.startswith("^") and one.endswith("$"))] == []


PLANNED = re.compile(r"projected_|finish|delivery_(before|after)$|delta_days")
"""Members that follow from a plan alone."""


def members(made: dict[str, Any], shape: Any, seen: frozenset[str] = frozenset()) -> set[str]:
    """The names of all members of a shape, those of nested ones too."""
    if isinstance(shape, list):
        return {name for one in shape for name in members(made, one, seen)}
    if not isinstance(shape, dict):
        return set()
    reference = shape.get("$ref")
    if isinstance(reference, str):
        if reference in seen:
            return set()
        target = made["components"]["schemas"][reference.rpartition("/")[2]]
        return members(made, target, seen | {reference})
    found = set(shape.get("properties", {}))
    return found.union(*(members(made, one, seen) for one in shape.values()))


def test_routes_that_tell_dates_of_a_plan_say_so(made: dict[str, Any]) -> None:
    undeclared = []
    for rule, _, description in routes(bare_app()):
        assert description is not None
        shown = made["paths"][path_of(rule)][methods_of(rule)[0].lower()]["responses"]
        content = shown.get("200", {}).get("content", {}).get("application/json", {})
        planned = {name for name in members(made, content) if PLANNED.match(name)}
        if planned and not description.dates:
            undeclared.append((rule.rule, planned))
        if description.dates:
            assert "suppositions" in members(made, content), rule.rule
    assert undeclared == []


@pytest.mark.parametrize("path", ["//live", "///live", "//events", "/live//"])
def test_an_address_with_a_doubled_slash_is_another_one(path: str) -> None:
    answer = bare_app().test_client().get("/", environ_overrides={"PATH_INFO": path})
    assert answer.status_code == 404
