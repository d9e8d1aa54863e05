"""What the routes need from the rest of the service, and where they find it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, cast

from flask import Flask, current_app
from sqlalchemy import Engine

from service.log.tokens import Token
from service.production.refusal import Refusal
from service.settings import Settings
from service.vocabulary.facts import Fact

_KEY = "retake-ledger"


class Receipt(Protocol):
    """What became of one event of a post."""

    @property
    def source(self) -> str:
        """The event's source."""

    @property
    def id(self) -> str:
        """The event's id."""

    @property
    def position(self) -> int:
        """Its position in the log."""

    @property
    def recorded_at_us(self) -> int:
        """When the log took it, microseconds since the epoch."""

    @property
    def repeated(self) -> bool:
        """Whether it had been recorded before."""

    @property
    def marks(self) -> tuple[str, ...]:
        """What is unusual about it."""


class Propose(Protocol):
    """Makes of a checked event what a recorder takes."""

    def __call__(self, members: dict[str, Any], personal: dict[str, Any], fact: Fact, /) -> Any:
        """The proposal of an event's public members, personal ones by pointer, and its fact."""


class Recorder(Protocol):
    """The write path of a studio."""

    def record(self, token: Token, proposals: Sequence[Any], /) -> Sequence[Receipt] | Refusal:
        """Record a batch whole, or refuse it whole."""


class Studio(Protocol):
    """One studio in this worker."""

    @property
    def recorder(self) -> Recorder:
        """Its write path."""

    def view(self, min_position: int, /) -> Any:
        """Its state, caught up to a position at least."""


class Studios(Protocol):
    """The studios of this worker."""

    def of(self, name: str, /) -> Studio:
        """The studio of a name."""


@dataclass(frozen=True)
class Services:
    """What one app works with."""

    settings: Settings
    engine: Engine
    studios: Studios
    propose: Propose


def provide(app: Flask, given: Services) -> None:
    """Let the routes of an app find its services."""
    app.extensions[_KEY] = given


def services() -> Services:
    """The services of the app that answers."""
    return cast(Services, current_app.extensions[_KEY])
