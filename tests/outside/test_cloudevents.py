"""Events held against CloudEvents 1.0: its JSON schema, and its SDK as a second reader."""

import json
import re
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import pytest
from cloudevents.core.bindings import http
from cloudevents.core.formats.json import JSONFormat
from cloudevents.core.v1.event import CloudEvent
from flask.testing import FlaskClient
from jsonschema import (  # type: ignore[import-untyped]  # it ships no types
    Draft7Validator,
    FormatChecker,
)
from sqlalchemy import Engine

from service.vocabulary.facts import CATALOGUE
from service.vocabulary.instants import instant_us, parse_instant
from service.web.schemas.envelope import OWN
from service.web.schemas.events import check_event
from tests.examples import example_event
from tests.web.fakes import PlainRecorder, issue_tokens, plain_app

from .small_studio import Answering, SmallStudio

# the schema published with the specification; its origin and licence lie beside it
SCHEMA = Path(__file__).parent / "cloudevents" / "cloudevents.json"
STRUCTURED = "application/cloudevents+json"
BATCH = "application/cloudevents-batch+json"


@cache
def schema() -> Draft7Validator:
    """The published schema. Raises OSError if it is not there."""
    return Draft7Validator(json.loads(SCHEMA.read_text()), format_checker=FormatChecker())


def test_the_published_schema_is_a_schema_of_the_members_that_every_event_has() -> None:
    # an empty or foreign document would take everything
    Draft7Validator.check_schema(schema().schema)
    assert sorted(schema().schema["required"]) == ["id", "source", "specversion", "type"]


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_example_that_is_posted_meets_the_published_schema(type_: str) -> None:
    event = example_event(type_)
    schema().validate(event)
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
def test_what_the_published_schema_refuses_is_refused(changed: dict[str, Any]) -> None:
    event = example_event("note.given") | changed
    name = next(iter(changed))
    if changed not in ({"source": "a b"},):  # the checker of references is an extra of its package
        assert not schema().is_valid(event)
    assert f"/{name}" in [error.pointer for error in check_event(event)]


@pytest.mark.parametrize("type_", CATALOGUE)
def test_what_the_sdk_writes_is_taken_and_read_back(client: FlaskClient, type_: str) -> None:
    event = {**example_event(type_), "source": "//lantern/check", "colour": "red", "size": 7}
    attributes = {name: value for name, value in event.items() if name != "data"}
    written = http.to_structured_event(
        CloudEvent(attributes | {"time": datetime.fromisoformat(event["time"])}, event["data"])
    )
    answer = client.post("/events", data=written.body, headers=dict(written.headers))
    assert answer.status_code == 201
    read = client.get("/events/1")
    assert read.content_type == STRUCTURED
    feed = client.get("/events")
    assert feed.content_type == BATCH
    assert json.loads(feed.data) == [json.loads(read.data)]
    hold(json.loads(read.data), event)


@pytest.fixture
def client(engine: Engine) -> FlaskClient:
    """Whoever may read all, of a studio without rules: any event is taken there."""
    secret = issue_tokens(engine)["supervisor"]
    client = plain_app(PlainRecorder(engine)).test_client()
    client.environ_base["HTTP_AUTHORIZATION"] = f"Bearer {secret}"
    return client


def hold(event: dict[str, Any], posted: dict[str, Any]) -> None:
    """An event that is read back, held against what was posted too."""
    hold_alone(event)
    own = event.keys() - posted.keys()
    assert {"position", "recordedat", "poster"} <= own <= {*OWN}
    assert {name: value for name, value in event.items() if name not in own} == posted
    # CloudEvents 1.0.2, naming convention: lower-case letters and digits, 20 of them at most
    assert all(re.fullmatch("[a-z0-9]{1,20}", name) for name in event)
    # type system: an Integer has 32 bits
    assert 0 < event["position"] < 2**31
    assert parse_instant(event["recordedat"])


def hold_alone(event: dict[str, Any]) -> None:
    """An event by the schema, and by the SDK: it reads what is there and writes the same again."""
    schema().validate(event)
    read = JSONFormat().read(None, json.dumps(event))
    assert isinstance(read, CloudEvent)
    assert (read.get_id(), read.get_source()) == (event["id"], event["source"])
    assert (read.get_type(), read.get_subject()) == (event["type"], event["subject"])
    assert read.get_data() == event["data"]
    time = read.get_time()
    assert time is not None
    assert instant_us(time) == parse_instant(event["time"])
    assert read.get_extension("position") == event["position"]
    again = json.loads(JSONFormat().write(read))
    assert parse_instant(again.pop("time")) == parse_instant(event["time"])
    assert {name: again[name] for name in event if name != "time"} == {
        name: value for name, value in event.items() if name != "time"
    }


@dataclass(frozen=True)
class Feeds:
    """A story as it was posted to the running service, and where to read it."""

    studio: SmallStudio
    posted: dict[str, dict[str, Any]]

    def get(self, path: str, holder: str = "auditor") -> httpx.Response:
        """An answer to a holder of a token."""
        headers = {"Authorization": f"Bearer {self.studio.secrets[holder]}"}
        answer = httpx.get(self.studio.url + path, headers=headers, timeout=60)
        assert answer.status_code == 200, answer.text
        return answer

    def all(self, holder: str = "auditor") -> list[dict[str, Any]]:
        """All events, page by page."""
        with self.studio.client(holder) as ledger:
            return [event for page in ledger.pages("/events", limit=20) for event in page]


@pytest.fixture(scope="module")
def feeds(running: Answering) -> Feeds:
    studio = running.studio("feeds")
    return Feeds(studio, {event["id"]: event for event in studio.tell_story()})


def test_every_event_of_the_feed_meets_the_schema_and_the_sdk(feeds: Feeds) -> None:
    events = feeds.all()
    assert [event["id"] for event in events] == list(feeds.posted)
    assert [event["position"] for event in events] == list(range(1, len(events) + 1))
    for event in events:
        hold(event, feeds.posted[event["id"]])


def test_who_may_not_read_the_text_is_given_events_too(feeds: Feeds) -> None:
    whole = {event["id"]: event for event in feeds.all()}
    cut = 0
    for event in feeds.all("layout"):
        hold_alone(event)
        cut += event != whole[event["id"]]
        # what is left out is vouched for, what is about money says so, and nothing else differs
        assert event["data"].items() <= whole[event["id"]]["data"].items()
        about_money = event["type"].startswith("change-order.")
        more = {"personal", "withheld"} if about_money else {"personal"}
        assert event.keys() - whole[event["id"]].keys() <= more
    assert cut > 0


def test_a_page_is_a_batch_and_one_event_is_structured(feeds: Feeds) -> None:
    page = feeds.get("/events?limit=5")
    # JSON event format 1.0.2, section 4: an array of events, of a media type of its own
    assert page.headers["Content-Type"] == BATCH
    assert len(page.json()) == 5
    for event in page.json():
        one = feeds.get(f"/events/{event['position']}")
        # section 3
        assert one.headers["Content-Type"] == STRUCTURED
        assert one.json() == event
    # an empty batch is one
    last = page
    while last.json():
        last = feeds.get(last.links["next"]["url"])
    assert (last.content, last.headers["Content-Type"]) == (b"[]", BATCH)


def test_the_events_of_a_replay_are_those_of_the_feed(feeds: Feeds) -> None:
    events = {event["position"]: event for event in feeds.all()}
    shown = feeds.get("/episodes/KESTREL-1/replay/events").json()["items"]
    assert len(shown) > 20
    for event in shown:
        hold_alone(event)
        assert event == events[event["position"]]


def test_receipts_name_the_events(feeds: Feeds) -> None:
    events = feeds.all()
    again = [feeds.posted[event["id"]] for event in events if event["type"] == "note.given"]
    with feeds.studio.client("supervisor") as ledger:
        receipts = ledger.post(again)
        assert ledger.post([]) == []
    by_position = {event["position"]: event for event in events}
    for receipt, posted in zip(receipts, again, strict=True):
        event = by_position[receipt["position"]]
        assert (receipt["source"], receipt["id"]) == (posted["source"], posted["id"])
        assert receipt["recordedat"] == event["recordedat"]
        assert {name: event[name] for name in posted} == posted


def test_an_integer_written_as_a_number_with_a_point_is_one(client: FlaskClient) -> None:
    # JSON knows numbers alone; the type system's Integer has no point when it is written again
    event = {**example_event("scene.bought"), "size": 7.0}
    assert client.post("/events", data=json.dumps([event]), content_type=BATCH).status_code == 201
    read = client.get("/events/1")
    assert b'"size":7,' in read.data or b'"size":7}' in read.data
    hold(json.loads(read.data), event)
