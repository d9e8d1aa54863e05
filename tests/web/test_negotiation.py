"""Content types, validators and arguments of a query."""

import json

import pytest
from flask import Flask, Response
from marshmallow import Schema

from service.web import negotiation, paging, problems
from service.web.schemas import query

from .conftest import Clients

BOTH = "application/cloudevents+json, application/cloudevents-batch+json"


@pytest.mark.parametrize(
    "content_type",
    [
        "application/json",
        "text/plain",
        "",
        "application/xml",
        "application/cloudevents+xml",
        "multipart/form-data; boundary=x",
        "application/cloudevents+json; charset=iso-8859-1",
        "application/cloudevents+json; charset=utf-16",
    ],
)
def test_another_content_type_is_refused_with_those_that_are_taken(
    client_of: Clients, content_type: str
) -> None:
    answer = client_of("supervisor").post("/events", data=b"{}", content_type=content_type)
    assert answer.status_code == 415
    assert answer.get_json()["type"] == "/problems/unsupported-media-type"
    assert answer.headers["Accept"] == answer.headers["Accept-Post"] == BOTH


def test_binary_mode_and_packed_bodies_are_refused(client_of: Clients) -> None:
    client = client_of("supervisor")
    headers = {"ce-id": "1", "ce-type": "note.given", "ce-specversion": "1.0", "ce-source": "/a"}
    answer = client.post("/events", data=b"{}", content_type="application/json", headers=headers)
    assert answer.status_code == 415
    assert "Binary mode" in answer.get_json()["detail"]
    answer = client.post(
        "/events",
        data=b"\x1f\x8b",
        content_type="application/cloudevents+json",
        headers={"Content-Encoding": "gzip"},
    )
    assert answer.status_code == 415
    assert "gzip" in answer.get_json()["detail"]
    assert answer.headers["Accept-Encoding"] == "identity"
    assert "Accept" not in answer.headers


@pytest.mark.parametrize(
    "content_type",
    ["application/cloudevents+json; charset=UTF-8", 'Application/CloudEvents+JSON;charset="utf-8"'],
)
def test_utf_8_and_any_case_are_taken(client_of: Clients, content_type: str) -> None:
    answer = client_of("supervisor").post("/events", data=b"{}", content_type=content_type)
    assert answer.get_json()["type"] == "/problems/invalid-event"


class Wanted(Schema):
    min_position = query.min_position()
    limit = query.limit(10, 5)
    department = query.department("Whose.")


@pytest.fixture
def app_alone() -> Flask:
    app = Flask(__name__)
    problems.install(app)

    @app.get("/arguments")
    def arguments() -> dict[str, object]:
        return negotiation.query_of(Wanted())

    @app.get("/tagged")
    def tagged() -> Response:
        tag = negotiation.etag_of("lantern", 7, "office")
        if negotiation.is_current(tag):
            return negotiation.with_etag(Response("not made"), tag)
        return negotiation.with_etag(Response("made"), tag)

    return app


def test_arguments_have_defaults_and_bounds(app_alone: Flask) -> None:
    client = app_alone.test_client()
    assert client.get("/arguments").get_json() == {"min_position": 0, "limit": 5}
    answer = client.get("/arguments?min_position=9007199254740991&limit=10&department=layout")
    assert answer.get_json() == {
        "min_position": 9007199254740991,
        "limit": 10,
        "department": "layout",
    }


def test_all_wrong_arguments_are_named_at_once(app_alone: Flask) -> None:
    answer = app_alone.test_client().get("/arguments?min_position=-1&limit=x&colour=red")
    assert answer.status_code == 400
    assert [error["pointer"] for error in answer.get_json()["errors"]] == [
        "?colour",
        "?min_position",
        "?limit",
    ]


def test_a_current_tag_is_answered_without_a_body(app_alone: Flask) -> None:
    client = app_alone.test_client()
    tag = client.get("/tagged").headers["ETag"]
    for sent in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        answer = client.get("/tagged", headers={"If-None-Match": sent})
        assert (answer.status_code, answer.data) == (304, b"")
        assert answer.headers["ETag"] == tag
    assert client.get("/tagged", headers={"If-None-Match": '"other"'}).data == b"made"


def test_tags_differ_by_all_that_they_are_made_of() -> None:
    tags = {
        negotiation.etag_of("lantern", 7),
        negotiation.etag_of("lantern", 8),
        negotiation.etag_of("otter", 7),
        negotiation.etag_of("lantern", 7, "office"),
        negotiation.etag_of("lantern", 7, "office", "a"),
    }
    assert len(tags) == 5


def test_a_cursor_holds_only_for_its_position_and_query() -> None:
    cursor = paging.make_cursor([12], {"type": "note.given"})
    assert paging.read_cursor(cursor, {"type": "note.given"}) == [12]
    # a reader of the log keeps its cursor for long: what earlier releases gave is still taken
    assert cursor == "WzEyLCJlZGM5MmUyMzhmZjIiXQ"
    with pytest.raises(problems.ProblemError):
        paging.read_cursor(cursor, {})
    other = json.dumps([13, "0" * 12])
    for forged in (cursor + "=", cursor[:-1], "", "W10", other, "e30"):
        with pytest.raises(problems.ProblemError):
            paging.read_cursor(forged, {"type": "note.given"})


def test_a_link_escapes_its_arguments() -> None:
    link = paging.link_next("/events", {"subject": "A-1/2", "type": ["a", "b&c"]}, "x_")
    assert link == '</events?subject=A-1%2F2&type=a&type=b%26c&cursor=x_>; rel="next"'
