"""An app on a log of its own, and a client for each role."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine
from werkzeug.datastructures import Headers

from service.log import studios, tokens
from service.settings import Settings
from service.vocabulary.instants import parse_instant
from service.web.app import create_app

from .fakes import PlainRecorder, PlainStudio, PlainStudios

NOW = "2031-03-04T12:00:00Z"
HOLDERS = {
    "office": ("office", [], "//lantern/office"),
    "supervisor": ("supervisor", [], "//lantern/"),
    "producer": ("producer", [], "//lantern/producer"),
    "auditor": ("auditor", [], "//lantern/audit"),
    "layout": ("desk", ["layout"], "//lantern/layout"),
    "camera": ("desk", ["camera"], "//lantern/camera"),
}


class TokenClient(FlaskClient):
    """A client that shows a token."""

    secret = ""

    def open(self, *args, **kwargs):  # type: ignore[no-untyped-def]  # as the base has it
        headers = Headers(kwargs.pop("headers", None) or {})
        if self.secret:
            headers.setdefault("Authorization", f"Bearer {self.secret}")
        return super().open(*args, headers=headers, **kwargs)


@pytest.fixture
def app_settings() -> Settings:
    return replace(
        Settings(None, None, Path("/nowhere")), body_bytes_max=200_000, batch_events_max=20
    )


@pytest.fixture
def recorder(engine: Engine) -> PlainRecorder:
    return PlainRecorder(engine)


@pytest.fixture
def secrets(engine: Engine) -> dict[str, str]:
    with engine.begin() as connection:
        studios.make_studio(connection, "lantern", "simulated", parse_instant(NOW))
        return {
            name: tokens.issue(
                connection, "lantern", name, role, departments, prefix, datetime.now(UTC)
            )[1]
            for name, (role, departments, prefix) in HOLDERS.items()
        }


@pytest.fixture
def app(
    engine: Engine, recorder: PlainRecorder, secrets: dict[str, str], app_settings: Settings
) -> Flask:
    made = create_app(app_settings, engine, PlainStudios(PlainStudio(recorder)))
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
