"""A studio without rules on a real log, for tests that look at HTTP alone."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Never

from flask import Flask
from sqlalchemy import Engine

from service.log import studios, tokens
from service.log.append import find_recorded, lock_head
from service.log.chain import Chain
from service.log.tokens import Token
from service.production.marks import LATE
from service.production.refusal import Refusal
from service.record import Proposed, Receipt, event_of
from service.record.sealing import recorded_by, seal
from service.settings import Settings
from service.studio import NotYetError
from service.vocabulary.instants import parse_instant
from tests.web.apps import app_on

NOW = "2031-03-04T12:00:00Z"
HOLDERS = {
    "office": ("office", [], "//lantern/office"),
    "supervisor": ("supervisor", [], "//lantern"),
    "producer": ("producer", [], "//lantern/producer"),
    "auditor": ("auditor", [], "//lantern/audit"),
    "layout": ("desk", ["layout"], "//lantern/layout"),
    "camera": ("desk", ["camera"], "//lantern/camera"),
}


@dataclass
class PlainRecorder:
    """Appends whatever it is given, or refuses it where the test says so."""

    engine: Engine
    refusal: Refusal | None = None
    fault: Exception | None = None
    given: list[Proposed] = field(default_factory=list)

    def record(self, token: Token, proposals: Sequence[Proposed]) -> tuple[Receipt, ...] | Refusal:
        self.given += proposals
        if self.fault is not None:
            raise self.fault
        if self.refusal is not None:
            return self.refusal
        return tuple(self._append(token, proposal) for proposal in proposals)

    def _append(self, token: Token, proposed: Proposed) -> Receipt:
        key = (proposed.source, proposed.id)
        with self.engine.begin() as connection:
            head = lock_head(connection, token.studio)
            chain = Chain(head)
            recorded = find_recorded(connection, token.studio, [key]).get(key)
            if recorded is not None:
                return Receipt(*key, recorded.position, recorded.recorded_at_us, True, ())
            at_us = head.clock_at_us or head.recorded_at_us
            event = event_of(proposed, head.position + 1, at_us, token)
            seal(chain, event, proposed, recorded_by(token.token_id, token.role, at_us))
            chain.write(connection, token.studio)
        return Receipt(*key, event.position, at_us, False, (LATE,))


@dataclass
class PlainStudio:
    recorder: PlainRecorder

    @property
    def warm(self) -> Never:
        """Nothing is folded here."""
        raise NotYetError(0, 0)

    def view(self, min_position: int = 0, wait_s: float = 0) -> Never:
        """Nothing is folded here."""
        raise NotYetError(min_position, 0)


@dataclass
class PlainStudios:
    studio: PlainStudio

    def of(self, name: str) -> PlainStudio:
        assert name == "lantern"
        return self.studio

    def unplanned(self) -> int:
        return 0


def issue_tokens(engine: Engine) -> dict[str, str]:
    """Make the studio and a token for each holder; gives their secrets."""
    with engine.begin() as connection:
        studios.make_studio(connection, "lantern", "simulated", parse_instant(NOW))
        return {
            name: tokens.issue(
                connection, "lantern", name, role, departments, prefix, datetime.now(UTC)
            )[1]
            for name, (role, departments, prefix) in HOLDERS.items()
        }


def plain_app(recorder: PlainRecorder, keys: Path | None = None) -> Flask:
    """An app on a log, with small limits."""
    settings = Settings(
        None, None, Path("/nowhere"), body_bytes_max=200_000, batch_events_max=20, keys=keys
    )
    return app_on(settings, recorder.engine, PlainStudios(PlainStudio(recorder)))
