"""Bearer tokens: where they are looked for, and what is answered without one."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine

from service.log import tokens

from .conftest import Clients


@pytest.mark.parametrize(
    "headers", [{}, {"Authorization": "Basic YTpi"}, {"Authorization": "rl_secret"}]
)
def test_without_a_bearer_token_no_error_code_is_given(
    client_of: Clients, headers: dict[str, str]
) -> None:
    # RFC 6750, section 3.1: no error code for a request without authentication information
    answer = client_of().get("/events", headers=headers)
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="retake-ledger"'
    assert answer.get_json()["type"] == "/problems/no-token"


@pytest.mark.parametrize(
    "credentials", ["Bearer nobody", "Bearer ", "bearer a b", "Bearer ä", "Bearer a\udc80"]
)
def test_an_unknown_token_is_an_invalid_one(client_of: Clients, credentials: str) -> None:
    answer = client_of().get("/events", headers={"Authorization": credentials})
    assert answer.status_code == 401
    assert 'error="invalid_token"' in answer.headers["WWW-Authenticate"]
    assert answer.get_json()["type"] == "/problems/invalid-token"


def test_the_scheme_may_be_written_in_any_case(client_of: Clients, secrets: dict[str, str]) -> None:
    for scheme in ("bearer", "BEARER", "Bearer"):
        headers = {"Authorization": f"{scheme} {secrets['auditor']}"}
        assert client_of().get("/events", headers=headers).status_code == 200


def test_a_token_elsewhere_is_not_taken(client_of: Clients, secrets: dict[str, str]) -> None:
    client = client_of()
    secret = secrets["supervisor"]
    client.set_cookie("access_token", secret)
    client.set_cookie("Authorization", f"Bearer {secret}")
    assert client.get(f"/events?access_token={secret}").status_code == 401
    assert client.post("/events", data={"access_token": secret}).status_code == 401


def test_a_revoked_token_is_an_invalid_one(client_of: Clients, engine: Engine) -> None:
    client = client_of("auditor")
    assert client.get("/events").status_code == 200
    with engine.begin() as connection:
        for issued in tokens.list_tokens(connection, "lantern"):
            tokens.revoke(connection, "lantern", issued.token.token_id, datetime.now(UTC))
    assert client.get("/events").get_json()["type"] == "/problems/invalid-token"


def test_another_role_is_told_the_scope_that_is_wanted(client_of: Clients) -> None:
    body = b'{"now": "2031-03-05T00:00:00Z"}'
    for name in ("supervisor", "producer", "auditor", "layout"):
        answer = client_of(name).put("/clock", data=body, content_type="application/json")
        assert answer.status_code == 403
        assert answer.get_json()["type"] == "/problems/insufficient-scope"
        challenge = answer.headers["WWW-Authenticate"]
        assert 'error="insufficient_scope"' in challenge
        assert 'scope="office"' in challenge
