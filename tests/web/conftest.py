"""An app on a log of its own, and a client for each role."""

from collections.abc import Iterator

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine
from werkzeug.datastructures import Headers

from service.log.engine import owner_engine
from tests.conftest import Database

from .fakes import PlainRecorder, issue_tokens, plain_app
from .lantern import Lantern


class TokenClient(FlaskClient):
    """A client that shows a token."""

    secret = ""

    def open(self, *args, **kwargs):  # type: ignore[no-untyped-def]  # as the base has it
        headers = Headers(kwargs.pop("headers", None) or {})
        if self.secret:
            headers.setdefault("Authorization", f"Bearer {self.secret}")
        return super().open(*args, headers=headers, **kwargs)


@pytest.fixture
def recorder(engine: Engine) -> PlainRecorder:
    return PlainRecorder(engine)


@pytest.fixture
def secrets(engine: Engine) -> dict[str, str]:
    return issue_tokens(engine)


@pytest.fixture
def app(recorder: PlainRecorder) -> Flask:
    made = plain_app(recorder)
    made.test_client_class = TokenClient
    return made


class Clients:
    """A client for each holder of a token, and one without."""

    def __init__(self, app: Flask, secrets: dict[str, str]) -> None:
        self.app, self.secrets = app, secrets

    def __call__(self, name: str = "") -> FlaskClient:
        client = self.app.test_client()
        assert isinstance(client, TokenClient)
        client.secret = self.secrets[name] if name else ""
        return client


@pytest.fixture
def client_of(app: Flask, secrets: dict[str, str]) -> Clients:
    return Clients(app, secrets)


@pytest.fixture
def lantern(engine: Engine, database: Database) -> Iterator[Lantern]:
    """A studio prepared for the examples of the OpenAPI document."""
    owner = owner_engine(database.owner_url)
    yield Lantern(engine, owner)
    owner.dispose()
