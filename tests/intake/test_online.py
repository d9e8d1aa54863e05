"""A running service held against what was kept of it before, and tampered with by its owner."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from sqlalchemy import Engine, text

from service.client import Client
from service.feeds.exports import CHECKPOINT, export
from service.intake.exported import read_leaves, read_signed_checkpoint
from service.intake.online import OnlineError, goes_on_from, parts_from, read_latest
from service.intake.verifying import Verified, verify_service
from service.keys import ensure_keys
from service.log import tokens
from service.log.studios import make_studio
from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import Key, public_key
from service.proofs.tree import append, leaf_hash, pack
from tests.conftest import Database
from tests.guards import without_guard
from tests.log.recording import START_US, record
from tests.web.fakes import PlainRecorder, plain_app

COUNT = 23
ORIGIN = "retake-ledger.invalid/lantern"


@pytest.fixture
def service(engine: Engine, tmp_path: Path) -> Iterator[Client]:
    ensure_keys(tmp_path / "keys")
    with engine.begin() as connection:
        make_studio(connection, "lantern", "simulated", START_US)
        issued = datetime.now(UTC)
        _, secret = tokens.issue(connection, "lantern", "a", "auditor", [], "//audit", issued)
        record(connection, [{} for _ in range(COUNT)], studio="lantern")
    app = plain_app(PlainRecorder(engine), tmp_path / "keys")
    http = httpx.Client(transport=httpx.WSGITransport(app=app))
    with Client("http://ledger.test", secret, http) as client:
        yield client


@pytest.fixture
def key(service: Client, tmp_path: Path) -> Key:
    return public_key(ORIGIN, ensure_keys(tmp_path / "keys").secret)


@pytest.fixture
def old(service: Client, engine: Engine, tmp_path: Path) -> Path:
    """An export made before anything was done to the record."""
    secret = ensure_keys(tmp_path / "keys").secret
    list(export(engine, "lantern", tmp_path / "old", ORIGIN, secret, personal=False))
    return tmp_path / "old"


def rewrite(database: Database, position: int) -> None:
    """As the owner of the database would: the event, and every hash behind it."""
    with without_guard(database) as connection:
        connection.execute(
            text("UPDATE event SET body = body || '\\x20' WHERE position = :at"), {"at": position}
        )
        rows = connection.execute(text("SELECT position, body FROM event ORDER BY position")).all()
        frontier: tuple[bytes, ...] = ()
        for at, body in rows:
            nodes, frontier = append(frontier, at - 1, leaf_hash(bytes(body)))
            connection.execute(
                text("UPDATE event SET nodes = :nodes WHERE position = :at"),
                {"nodes": nodes, "at": at},
            )
        connection.execute(
            text("UPDATE head SET frontier = :packed WHERE studio = 'lantern'"),
            {"packed": pack(frontier)},
        )


def test_a_record_that_goes_on(service: Client, key: Key, old: Path, engine: Engine) -> None:
    with engine.begin() as connection:
        record(connection, [{} for _ in range(9)], studio="lantern")
    kept = read_signed_checkpoint(old / CHECKPOINT, (key,))
    assert verify_service(service, (key,), [kept], old) == Verified(COUNT + 9, None)


@pytest.mark.parametrize("position", [1, 2, 11, 16, 17, 22, 23])
def test_what_the_owner_rewrites_is_found_and_where(
    service: Client, key: Key, old: Path, database: Database, position: int
) -> None:
    rewrite(database, position)
    kept = read_signed_checkpoint(old / CHECKPOINT, (key,))
    latest = read_latest(service, (key,))
    found = goes_on_from(service, kept, latest)
    assert found is not None
    assert found.position == COUNT
    found = parts_from(service, read_leaves(old))
    assert found is not None
    assert found.position == position


def test_a_record_that_ends_before_a_checkpoint(service: Client, key: Key, old: Path) -> None:
    leaves = [*read_leaves(old), bytes(32)]
    latest = read_latest(service, (key,))
    found = goes_on_from(service, Checkpoint(ORIGIN, COUNT + 1, bytes(32)), latest)
    assert found is not None
    assert found.position == COUNT + 1
    assert parts_from(service, leaves) == (
        COUNT + 1,
        f"the record ends at {COUNT}, the older one at {COUNT + 1}",
    )


def test_another_log_and_another_key_are_errors(service: Client, key: Key) -> None:
    latest = read_latest(service, (key,))
    with pytest.raises(OnlineError, match="is of another"):
        goes_on_from(service, Checkpoint("another", 1, bytes(32)), latest)
    with pytest.raises(OnlineError, match="none of the keys"):
        read_latest(service, (Key("another", key.kind, key.public),))


def test_from_nothing_everything_goes_on(service: Client) -> None:
    latest = read_latest(service, ())
    assert goes_on_from(service, Checkpoint(ORIGIN, 0, bytes(32)), latest) is None
    assert parts_from(service, []) is None
