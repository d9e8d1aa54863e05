"""Events held against CloudEvents 1.0: its JSON schema, and its SDK as a second reader."""

import json
from pathlib import Path
from typing import Any

import pytest
from cloudevents.core.formats.json import JSONFormat
from cloudevents.core.v1.event import CloudEvent
from jsonschema import (  # type: ignore[import-untyped]  # it ships no types
    Draft7Validator,
    FormatChecker,
)
from sqlalchemy import Engine

from service.vocabulary.facts import CATALOGUE
from service.vocabulary.instants import instant_us, parse_instant
from service.web.schemas.events import check_event
from service.web.schemas.examples import example_event
from tests.web.fakes import PlainRecorder, issue_tokens, plain_app

# the schema published with the specification, github.com/cloudevents/spec, cloudevents.json
SCHEMA = Path(__file__).parents[3] / "shared" / "checks" / "cloudevents_v1.schema.json"
BATCH = "application/cloudevents-batch+json"


@pytest.fixture(scope="module")
def published() -> Draft7Validator:
    if not SCHEMA.exists():
        pytest.skip(f"the published schema is not beside the repository: {SCHEMA.name}")
    return Draft7Validator(json.loads(SCHEMA.read_text()), format_checker=FormatChecker())


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_example_that_is_posted_meets_the_published_schema(
    published: Draft7Validator, type_: str
) -> None:
    event = example_event(type_)
    published.validate(event)
    assert check_event(event) == []


@pytest.mark.parametrize(
    "changed",
    [
        {"specversion": 1.0},
        {"specversion": ""},
        {"id": ""},
        {"id": 1},
        {"source": ""},
        {"source": "a b"},
        {"type": ""},
        {"subject": ""},
        {"time": "yesterday"},
        {"dataschema": ""},
        {"datacontenttype": ""},
    ],
)
def test_what_the_published_schema_refuses_is_refused(
    published: Draft7Validator, changed: dict[str, Any]
) -> None:
    event = example_event("note.given") | changed
    name = next(iter(changed))
    if changed not in ({"source": "a b"},):  # the checker of references is an extra of its package
        assert not published.is_valid(event)
    assert f"/{name}" in [error.pointer for error in check_event(event)]


@pytest.fixture
def answered(engine: Engine) -> list[dict[str, Any]]:
    headers = {"Authorization": f"Bearer {issue_tokens(engine)['supervisor']}"}
    client = plain_app(PlainRecorder(engine)).test_client()
    posted = [
        {**example_event(type_), "source": "//lantern/check", "colour": "red", "size": 7}
        for type_ in ("note.given", "retake.called", "route.laid")
    ]
    answer = client.post("/events", data=json.dumps(posted), content_type=BATCH, headers=headers)
    assert answer.status_code == 201
    answer = client.get("/events", headers=headers)
    assert answer.content_type == BATCH
    found: list[dict[str, Any]] = json.loads(answer.data)
    assert len(found) == len(posted)
    one = client.get("/events/2", headers=headers)
    assert one.content_type == "application/cloudevents+json"
    assert json.loads(one.data) == found[1]
    return found


def test_what_is_read_back_meets_the_published_schema(
    published: Draft7Validator, answered: list[dict[str, Any]]
) -> None:
    for event in answered:
        published.validate(event)


def test_the_sdk_reads_what_is_read_back(answered: list[dict[str, Any]]) -> None:
    for event in answered:
        read = JSONFormat().read(None, json.dumps(event))
        assert isinstance(read, CloudEvent)
        assert (read.get_id(), read.get_source()) == (event["id"], event["source"])
        assert (read.get_type(), read.get_subject()) == (event["type"], event["subject"])
        assert read.get_data() == event["data"]
        time = read.get_time()
        assert time is not None
        assert instant_us(time) == parse_instant(event["time"])
        assert read.get_extension("position") == event["position"]
        assert read.get_extension("colour") == "red"
        again = json.loads(JSONFormat().write(read))
        assert parse_instant(again.pop("time")) == parse_instant(event["time"])
        assert {name: again[name] for name in event if name != "time"} == {
            name: value for name, value in event.items() if name != "time"
        }
