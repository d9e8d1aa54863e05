"""What the owner of the database can do to a record in spite of the guards, and how it is found.

The record has 23 events, each with personal text. A checkpoint was kept elsewhere at 20, and an
older export. Then the owner takes the guard away and alters the record at position 11. A row that
says another position, or bytes other than were hashed, is found where it lies. Where all hashes
were made anew a checkpoint alone tells that the difference lies at or before it, and the older
export where.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from sqlalchemy import Connection, Engine, text

from service.client import Client
from service.feeds.exports import CHECKPOINT, export
from service.intake.exported import read_signed_checkpoint
from service.intake.verifying import Verified, verify_export, verify_service
from service.keys import ensure_keys
from service.log import tokens
from service.log.studios import make_studio
from service.proofs.canonical import canonical, commitment
from service.proofs.tree import append, leaf_hash, pack
from tests.conftest import Database
from tests.guards import without_guard
from tests.log.recording import START_US, record
from tests.web.fakes import PlainRecorder, plain_app

KEPT, COUNT, AT = 20, 23, 11
ORIGIN = "retake-ledger.invalid/lantern"
PERSONAL = {"/data/text": "late again"}


def rows(first: int, last: int) -> list[dict[str, object]]:
    made: list[dict[str, object]] = []
    for position in range(first, last + 1):
        salt = bytes([position]) * 32
        body = {"personal": commitment(salt, PERSONAL), "position": position, "type": "note.given"}
        made.append({"body": canonical(body), "salt": salt, "personal": canonical(PERSONAL)})
    return made


def edit_payload(owner: Connection) -> None:
    owner.execute(
        text("UPDATE event SET body = replace(convert_from(body, 'UTF8'), 'given', 'taken')::bytea "
             "WHERE position = :at"),
        {"at": AT},
    )  # fmt: skip


def drop_row(owner: Connection) -> None:
    owner.execute(text("DELETE FROM event WHERE position = :at"), {"at": AT})


def swap_rows(owner: Connection) -> None:
    for before, after in ((AT, 1000), (AT + 2, AT), (1000, AT + 2)):
        owner.execute(
            text("UPDATE event SET position = :after WHERE position = :before"),
            {"before": before, "after": after},
        )


def rewrite_all_behind(owner: Connection) -> None:
    edit_payload(owner)
    frontier: tuple[bytes, ...] = ()
    found = owner.execute(text("SELECT position, body FROM event ORDER BY position")).all()
    for at, body in found:
        nodes, frontier = append(frontier, at - 1, leaf_hash(bytes(body)))
        owner.execute(
            text("UPDATE event SET nodes = :nodes WHERE position = :at"),
            {"nodes": nodes, "at": at},
        )
    owner.execute(text("UPDATE head SET frontier = :packed"), {"packed": pack(frontier)})


def change_text(owner: Connection) -> None:
    owner.execute(
        text("UPDATE personal SET content = :content WHERE position = :at"),
        {"content": canonical({"/data/text": "in good time"}), "at": AT},
    )


def change_salt(owner: Connection) -> None:
    owner.execute(
        text("UPDATE personal SET salt = :salt WHERE position = :at"),
        {"salt": bytes(32), "at": AT},
    )


Tamper = Callable[[Connection], None]
WAYS = (edit_payload, drop_row, swap_rows, rewrite_all_behind, change_text, change_salt)
REWRITTEN = (edit_payload, drop_row, swap_rows, rewrite_all_behind)


@pytest.fixture
def kept(engine: Engine, tmp_path: Path) -> Path:
    """The export made at 20, with its checkpoint; three more events came behind it."""
    secret = ensure_keys(tmp_path / "keys").secret
    with engine.begin() as connection:
        make_studio(connection, "lantern", "simulated", START_US)
        record(connection, rows(1, KEPT), studio="lantern")
    list(export(engine, "lantern", tmp_path / "kept", ORIGIN, secret, personal=True))
    with engine.begin() as connection:
        record(connection, rows(KEPT + 1, COUNT), studio="lantern")
    return tmp_path / "kept"


@pytest.fixture
def service(engine: Engine, kept: Path, tmp_path: Path) -> Iterator[Client]:
    with engine.begin() as connection:
        issued = datetime.now(UTC)
        _, secret = tokens.issue(connection, "lantern", "a", "auditor", [], "//audit", issued)
    app = plain_app(PlainRecorder(engine), tmp_path / "keys")
    http = httpx.Client(transport=httpx.WSGITransport(app=app))
    with Client("http://ledger.test", secret, http) as client:
        yield client


def tamper(database: Database, way: Tamper) -> None:
    with without_guard(database) as owner:
        way(owner)


def exported_now(engine: Engine, folder: Path, keys: Path) -> Path:
    secret = ensure_keys(keys).secret
    list(export(engine, "lantern", folder, ORIGIN, secret, personal=True))
    return folder


def test_of_an_honest_record_nothing_is_found(
    engine: Engine, service: Client, kept: Path, tmp_path: Path
) -> None:
    checkpoint = read_signed_checkpoint(kept / CHECKPOINT, ())
    now = exported_now(engine, tmp_path / "now", tmp_path / "keys")
    assert verify_export(now, [checkpoint], against=kept) == Verified(COUNT, None)
    assert verify_service(service, (), [checkpoint], kept, every_event=True) == Verified(
        COUNT, None
    )


@pytest.mark.parametrize("way", WAYS)
def test_an_export_against_the_checkpoint(
    engine: Engine, database: Database, kept: Path, tmp_path: Path, way: Tamper
) -> None:
    tamper(database, way)
    now = exported_now(engine, tmp_path / "now", tmp_path / "keys")
    found = verify_export(now, [read_signed_checkpoint(kept / CHECKPOINT, ())]).difference
    assert found is not None
    assert found.position == (KEPT if way is rewrite_all_behind else AT)


@pytest.mark.parametrize("way", REWRITTEN)
def test_an_export_against_the_older_one(
    engine: Engine, database: Database, kept: Path, tmp_path: Path, way: Tamper
) -> None:
    tamper(database, way)
    now = exported_now(engine, tmp_path / "now", tmp_path / "keys")
    found = verify_export(now, [], against=kept).difference
    assert found is not None
    assert found.position == AT


@pytest.mark.parametrize("way", WAYS)
def test_a_running_service_against_the_checkpoint(
    service: Client, database: Database, kept: Path, way: Tamper
) -> None:
    tamper(database, way)
    checkpoint = read_signed_checkpoint(kept / CHECKPOINT, ())
    found = verify_service(service, (), [checkpoint], every_event=True).difference
    assert found is not None
    assert found.position == (KEPT if way is rewrite_all_behind else AT)


def test_a_running_service_against_the_older_export(
    service: Client, database: Database, kept: Path
) -> None:
    tamper(database, rewrite_all_behind)
    found = verify_service(service, (), [], kept).difference
    assert found is not None
    assert found.position == AT
