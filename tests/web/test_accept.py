"""What `Accept` asks for, on every route: the best of what is given, or 406 with a list of it."""

from collections.abc import Iterator
from typing import NamedTuple

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import IntegerConverter
from werkzeug.test import TestResponse

from service.web.accept import best_of
from service.web.app import bare_app
from service.web.described import description_of

from .conftest import Clients

JSON, CSV, HTML, PDF = "application/json", "text/csv", "text/html", "application/pdf"
PLAIN, EVENT = "text/plain", "application/cloudevents+json"


class Route(NamedTuple):
    """An address with its arguments filled in, a method, and the media types that it gives."""

    method: str
    path: str
    given: tuple[str, ...]


def routes(app: Flask) -> Iterator[Route]:
    addresses = app.url_map.bind("ledger.example")
    for rule in app.url_map.iter_rules():
        description = description_of(app.view_functions[rule.endpoint])
        assert description is not None
        values = {
            name: 1 if isinstance(converter, IntegerConverter) else "x"
            for name, converter in rule._converters.items()
        }
        path = addresses.build(rule.endpoint, values, force_external=False)
        for method in (rule.methods or set()) - {"OPTIONS"}:
            yield Route(method, path, description.media_types)


ROUTES = sorted(routes(bare_app()))


def test_every_route_gives_something() -> None:
    assert len(ROUTES) > 60
    assert [route.path for route in ROUTES if not route.given] == []
    assert {given for route in ROUTES for given in route.given} >= {JSON, CSV, HTML, PDF, PLAIN}


@pytest.fixture
def client(client_of: Clients) -> FlaskClient:
    return client_of("auditor")


def ask(client: FlaskClient, route: Route, accept: str) -> TestResponse:
    return client.open(route.path, method=route.method, headers={"Accept": accept})


def test_what_cannot_be_given_is_refused_with_what_can(client: FlaskClient) -> None:
    """RFC 9110, section 15.5.7; links as in RFC 8288, each with its type."""
    for route in ROUTES:
        for accept in (
            "image/png",
            "*/*;q=0",
            ", ".join(f"{given};q=0" for given in route.given) + ", */*",
            f"{route.given[0]};charset=iso-8859-1",
            "application/problem+json",
            "nonsense",
        ):
            answer = ask(client, route, accept)
            assert answer.status_code == 406, (route, accept)
            assert answer.content_type == "application/problem+json"
            assert "Accept" in answer.vary
            links = [f'<{route.path}>; rel="alternate"; type="{given}"' for given in route.given]
            assert answer.headers["Link"] == ", ".join(links)
            if route.method != "HEAD":
                body = answer.get_json()
                assert body["type"] == "/problems/not-acceptable"
                assert all(given in body["detail"] for given in route.given)


def test_what_can_be_given_is_not_refused(client: FlaskClient) -> None:
    for route in ROUTES:
        for given in route.given:
            type_ = given.partition("/")[0]
            for accept in (
                given,
                given.upper(),
                f"{given}; charset=UTF-8",
                f"{type_}/*",
                "*/*",
                "*",
                "",
                f"image/png, {given};q=0.001",
                f"*/*;q=0, {given}",
                f"text/html, image/gif, *; q=.2, {given}; q=.2",
            ):
                assert ask(client, route, accept).status_code != 406, (route, accept)


def test_a_problem_is_sent_as_one_whatever_is_accepted(client_of: Clients) -> None:
    answer = client_of().get("/episodes", headers={"Accept": JSON})
    assert (answer.status_code, answer.content_type) == (401, "application/problem+json")
    answer = client_of().get("/nowhere", headers={"Accept": HTML})
    assert (answer.status_code, answer.content_type) == (404, "application/problem+json")


def test_options_are_answered_whatever_is_accepted(client: FlaskClient) -> None:
    assert client.options("/episodes", headers={"Accept": "image/png"}).status_code == 200


@pytest.mark.parametrize(
    ("accept", "best"),
    [
        ("*/*", JSON),
        ("text/*", CSV),
        (f"{CSV};q=0.5, {PLAIN};q=0.6", PLAIN),
        (f"{CSV}, {JSON}", JSON),
        # the more exact range counts, in whatever order they stand (RFC 9110, section 12.5.1)
        (f"*/*, {JSON};q=0", CSV),
        (f"{JSON};q=0, */*", CSV),
        ("text/*;q=0.3, text/plain;q=0.7, */*;q=0.5", PLAIN),
        ("text/*;q=0, */*", JSON),
        ("application/*;q=0, text/*;q=0", None),
        ("image/png", None),
        (f"{PLAIN};q=2, {CSV};q=x, {JSON};q=nan", None),
    ],
)
def test_the_best_of_what_is_given(accept: str, best: str | None) -> None:
    assert best_of((JSON, CSV, PLAIN), accept) == best


@pytest.mark.parametrize("accept", ["", " ", ",", ",,,", " , ,\t,"])
def test_an_empty_element_asks_for_nothing(accept: str) -> None:
    """RFC 9110, section 5.6.1.2: a recipient ignores empty elements, so this is an empty list."""
    assert best_of([JSON, CSV], accept) == JSON
    assert best_of([JSON, CSV], f"{accept},text/csv,,") == CSV
    assert best_of([JSON, CSV], f"{accept},image/png,,") is None
