"""What the routes need from the rest of the service, and where they find it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol, cast

from flask import Flask, current_app
from sqlalchemy import Engine

from service.log.read import PAGE_BYTES_MAX
from service.log.tokens import Token
from service.production.refusal import Refusal
from service.projections.present import Trails
from service.record import Proposed, Receipt
from service.release import this_release
from service.settings import Settings
from service.studio import Studio
from service.web.observing import FULL_S
from service.web.position_waits import Viewed, Waiting

_KEY = "retake-ledger"


class Recorder(Protocol):
    """The write path of a studio."""

    def record(
        self, token: Token, proposals: Sequence[Proposed], /
    ) -> tuple[Receipt, ...] | Refusal:
        """Record a batch whole, or refuse it whole. Raises TokenRevokedError."""


class OpenedStudio(Viewed, Protocol):
    """One studio in this worker."""

    @property
    def warm(self) -> Studio:
        """Its history and plans."""

    @property
    def recorder(self) -> Recorder:
        """Its write path."""


class Studios(Protocol):
    """The studios of this worker."""

    def of(self, name: str, /) -> OpenedStudio:
        """The studio of a name."""

    def unplanned(self) -> int:
        """Of how many studios no plan could be made when one was last asked for."""


@dataclass(frozen=True)
class Services:
    """What one app works with, and how much of it one answer or one worker may take."""

    settings: Settings
    engine: Engine
    studios: Studios
    trails: Trails
    seal_key: bytes | None = None
    tokens_seen: dict[bytes, Token] = field(default_factory=dict)
    tokens_seen_max: int = 1024
    """How many tokens a worker remembers."""
    waiting: Waiting = field(default_factory=Waiting)
    page_bytes_max: int = PAGE_BYTES_MAX
    """How much a page of events or of texts has at most, unless its first item has more."""
    release: str = field(default_factory=this_release)
    """What tells the answers of this release from those of others, which tags must not confuse."""
    disk_full_s: float = FULL_S
    """How long a disk counts as full if nothing is recorded meanwhile."""


def provide(app: Flask, given: Services) -> None:
    """Let the routes of an app find its services."""
    app.extensions[_KEY] = given


def services() -> Services:
    """The services of the app that answers."""
    return cast(Services, current_app.extensions[_KEY])
