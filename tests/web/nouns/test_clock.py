"""The studio's clock over HTTP."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine
from werkzeug.test import TestResponse

from service.log import studios, tokens

from ..conftest import Clients
from ..fakes import NOW

JSON = "application/json"


def move(clients: Clients, body: str, content_type: str = JSON) -> TestResponse:
    return clients("office").put("/clock", data=body.encode(), content_type=content_type)


def test_a_simulated_clock_is_moved_forward(client_of: Clients) -> None:
    assert client_of("layout").get("/clock").get_json() == {"kind": "simulated", "now": NOW}
    moved = move(client_of, '{"now": "2031-03-05T09:00:00+01:00"}')
    assert moved.status_code == 200
    assert moved.get_json() == {"kind": "simulated", "now": "2031-03-05T08:00:00Z"}
    assert client_of("layout").get("/clock").get_json() == moved.get_json()


def test_it_is_not_moved_back(client_of: Clients) -> None:
    answer = move(client_of, '{"now": "2031-03-04T11:59:59Z"}')
    assert answer.status_code == 409
    assert answer.get_json()["type"] == "/problems/clock-refused"
    assert client_of("layout").get("/clock").get_json()["now"] == NOW


def test_it_goes_a_year_ahead_at_a_time_and_further_in_steps(client_of: Clients) -> None:
    answer = move(client_of, '{"now": "2199-01-01T00:00:00Z"}')
    assert (answer.status_code, answer.get_json()["type"]) == (409, "/problems/clock-refused")
    assert "at most 366 days ahead" in answer.get_json()["detail"]
    assert "in steps" in answer.get_json()["detail"]
    assert move(client_of, '{"now": "2032-03-04T12:00:00.000001Z"}').status_code == 409
    assert client_of("layout").get("/clock").get_json()["now"] == NOW
    for now in ("2032-03-04T12:00:00Z", "2033-03-05T12:00:00Z"):
        assert move(client_of, f'{{"now": "{now}"}}').get_json()["now"] == now


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ("{}", 422, "/now"),
        ('{"now": null}', 422, "/now"),
        ('{"now": "tomorrow"}', 422, "/now"),
        ('{"now": "9999-12-31T23:59:59-23:59"}', 422, "/now"),
        ('{"now": "2031-03-05T09:00:00Z", "then": 1}', 422, "/then"),
        ("[]", 422, ""),
        ("7", 422, ""),
        ('{"now": 1, "now": 2}', 400, "/now"),
    ],
)
def test_a_wrong_body_is_a_problem(
    client_of: Clients, body: str, status: int, pointer: str
) -> None:
    answer = move(client_of, body)
    assert answer.status_code == status
    assert [error["pointer"] for error in answer.get_json()["errors"]] == [pointer]
    assert client_of("layout").get("/clock").get_json()["now"] == NOW


def test_another_content_type_is_refused(client_of: Clients) -> None:
    assert move(client_of, "{}", "text/plain").status_code == 415


def test_a_real_clock_is_read_and_not_moved(client_of: Clients, engine: Engine) -> None:
    with engine.begin() as connection:
        studios.make_studio(connection, "otter", "real")
        _, secret = tokens.issue(
            connection, "otter", "o", "office", [], "//otter", datetime.now(UTC)
        )
    headers = {"Authorization": f"Bearer {secret}"}
    before = datetime.now(UTC)
    shown = client_of().get("/clock", headers=headers).get_json()
    assert shown["kind"] == "real"
    assert before <= datetime.fromisoformat(shown["now"]) <= datetime.now(UTC)
    answer = client_of().put(
        "/clock", data=b'{"now": "2199-01-01T00:00:00Z"}', content_type=JSON, headers=headers
    )
    assert answer.get_json()["type"] == "/problems/clock-refused"
