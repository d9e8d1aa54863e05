"""Every error is sent as a problem, of a type that has a page."""

import logging

import pytest
from flask import Flask, abort
from flask.testing import FlaskClient
from marshmallow import ValidationError

from service.web import problems
from service.web.pointers import FieldError, put, split, step
from service.web.problem_types import TYPES


@pytest.fixture
def client() -> FlaskClient:
    app = Flask(__name__, static_folder=None)
    problems.install(app)

    @app.get("/fault")
    def fault() -> str:
        raise RuntimeError("the password is swordfish")

    @app.get("/abort/<int:status>")
    def aborted(status: int) -> str:
        abort(status)

    @app.get("/refused")
    def refused() -> str:
        raise problems.ProblemError(
            "contradiction",
            "No.",
            [FieldError("/3/data/department", "half a \ud800 pair", "unknown")],
            {"X-Kept": "yes"},
        )

    @app.get("/schema")
    def schema() -> str:
        raise ValidationError({"a": {0: {"b/c": ["Wrong."]}}, "_schema": ["All wrong."]})

    return app.test_client()


def test_a_problem_has_a_type_title_status_detail_and_pointers(client: FlaskClient) -> None:
    answer = client.get("/refused")
    assert answer.status_code == 422
    assert answer.content_type == "application/problem+json"
    assert answer.headers["X-Kept"] == "yes"
    assert answer.get_json() == {
        "type": "/problems/contradiction",
        "title": "The record says otherwise",
        "status": 422,
        "detail": "No.",
        "errors": [
            {"pointer": "/3/data/department", "detail": "half a \ud800 pair", "code": "unknown"}
        ],
    }


def test_a_fault_is_logged_and_does_not_leak(
    client: FlaskClient, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        answer = client.get("/fault")
    assert answer.status_code == 500
    assert answer.get_json()["type"] == "/problems/internal-error"
    assert "swordfish" not in answer.text
    assert "swordfish" in caplog.text


def test_a_wrong_method_keeps_the_list_of_right_ones(client: FlaskClient) -> None:
    answer = client.post("/refused")
    assert answer.status_code == 405
    assert "GET" in answer.headers["Allow"]
    assert answer.get_json()["type"] == "/problems/method-not-allowed"
    assert answer.get_json()["detail"].startswith("POST is not served here; these are: GET, ")


@pytest.mark.parametrize("status", [400, 403, 404, 406, 410, 412, 413, 415, 418, 428, 500, 503])
def test_every_status_leaves_as_a_problem(client: FlaskClient, status: int) -> None:
    answer = client.get(f"/abort/{status}")
    assert answer.status_code == status
    assert answer.content_type == "application/problem+json"
    body = answer.get_json()
    assert body["status"] == status
    assert body["detail"]
    if body["type"] == "about:blank":
        assert status in {410, 412, 418, 428}
    else:
        page = client.get(body["type"]).get_json()
        assert (page["title"], page["status"]) == (body["title"], status)


def test_an_unknown_address_is_a_problem(client: FlaskClient) -> None:
    assert client.get("/nowhere").get_json()["type"] == "/problems/not-found"
    assert client.get("/problems/nothing").get_json()["type"] == "/problems/not-found"


def test_errors_of_a_schema_get_pointers(client: FlaskClient) -> None:
    answer = client.get("/schema")
    assert answer.status_code == 422
    assert [(error["pointer"], error["detail"]) for error in answer.get_json()["errors"]] == [
        ("/a/0/b~1c", "Wrong."),
        ("", "All wrong."),
    ]


def test_each_type_has_a_page_and_is_listed(client: FlaskClient) -> None:
    listed = client.get("/problems").get_json()["items"]
    assert [item["type"].rpartition("/")[2] for item in listed] == list(TYPES)
    for item in listed:
        assert client.get(item["type"]).get_json() == item


def test_pointers_escape_and_put_back() -> None:
    # RFC 6901, section 5: the pointers to "a/b" and "m~n" are /a~1b and /m~0n
    assert (step("a/b"), step("m~n"), step(3)) == ("/a~1b", "/m~0n", "/3")
    assert split("/a~1b/0/m~0n") == ["a/b", "0", "m~n"]
    document: dict[str, object] = {"a/b": [{"x": 1}]}
    put(document, "/a~1b/0/m~0n", "y")
    assert document == {"a/b": [{"x": 1, "m~n": "y"}]}
