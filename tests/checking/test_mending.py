"""What follows from a record is put right by the owner's command, and nothing else is touched."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, select, text
from sqlalchemy.exc import DBAPIError

from service.checking.record import check_record
from service.cli import main
from service.log import schema
from service.log.checkpoints import sign_latest
from service.log.tree import FrontierError
from service.record import OpenStudio
from tests import recording
from tests.checking.altered import note
from tests.conftest import Database
from tests.guards import alter
from tests.recording import NAME, SEAL_KEY, posted, worker
from tests.telling import office_facts
from tests.workers import tell_with_strikes

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/paper"
TABLES = (schema.event, schema.head, schema.personal, schema.checkpoint)


@pytest.fixture
def studio(
    engine: Engine, database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> OpenStudio:
    """A record with strikes and personal text, a checkpoint in it, and the commands set up."""
    (tmp_path / "keys").mkdir()
    seals = tmp_path / "keys" / "seals.key"
    seals.write_text(SEAL_KEY.hex())
    seals.chmod(0o600)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "keys"))
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    tell_with_strikes(opened)
    posted(opened, [note(1)])
    with engine.begin() as connection:
        sign_latest(connection, NAME, ORIGIN, SECRET)
    posted(opened, [note(2)])
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_OWNER_DATABASE_URL", database.owner_url)
    return opened


def stored(engine: Engine) -> dict[str, list[Any]]:
    with engine.connect() as connection:
        return {
            table.name: list(connection.execute(select(table).order_by(*table.primary_key)))
            for table in TABLES
        }


def mended(studio: str = NAME) -> Result:
    return CliRunner().invoke(main, ["mend", "--studio", studio])


DERIVED = [
    ("UPDATE head SET frontier = substr(frontier, 33) WHERE studio = 'paper'", "the head put at"),
    ("UPDATE head SET position = 8, frontier = substr(frontier, 1, 32)", "the head put at"),
    ("UPDATE event SET nodes = nodes || nodes WHERE position = 7", "beside event 7"),
    ("UPDATE event SET subject = 'KESTREL-1/2' WHERE position = 9", "beside event 9"),
    ("UPDATE event SET department = 'paint' WHERE position > 5", "columns written anew beside "),
    ("UPDATE event SET time_at = time_at - interval '1 day' WHERE position IN (4, 6)",
     "beside 2 events from 4 to 6"),
    ("UPDATE event SET content_hash = sha256(content_hash) WHERE position = 5",
     "content hashes written anew beside event 5"),
]  # fmt: skip


@pytest.mark.parametrize(("statement", "message"), DERIVED)
def test_what_follows_from_the_record_is_put_right(
    studio: OpenStudio, engine: Engine, database: Database, statement: str, message: str
) -> None:
    before = stored(engine)
    alter(database, statement)
    with engine.connect() as connection:
        assert check_record(connection, NAME).findings
    result = mended()
    assert result.exit_code == 0, result.output
    assert message in result.output
    assert stored(engine) == before
    assert mended().output == f"{NAME}: nothing had to be put right\n"
    with engine.begin() as connection:
        assert sign_latest(connection, NAME, ORIGIN, SECRET).size == len(before["event"])
    with engine.begin() as connection, pytest.raises(DBAPIError, match=r"denied|stays as it is"):
        connection.execute(text("UPDATE event SET subject = 'studio'"))


def test_a_worker_does_not_append_to_a_wrong_tree(
    studio: OpenStudio, engine: Engine, database: Database
) -> None:
    """Neither the one that wrote last nor one that comes new; after mending both go on."""
    size = len(stored(engine)["event"])
    alter(database, "UPDATE head SET frontier = sha256(frontier) || substr(frontier, 33)")
    other = worker(engine)
    for one in (studio, other):
        with pytest.raises(FrontierError, match="frontier in the head") as raised:
            posted(one, [note(3)])
        assert raised.value.position == size
    words = ["--position", str(size), "--why", "Request 12", "--by", "office"]
    erasing = CliRunner().invoke(main, ["erase-text", "--studio", NAME, *words])
    assert erasing.exit_code == 1
    assert "frontier in the head" in erasing.output
    assert len(stored(engine)["event"]) == size
    assert mended().exit_code == 0
    for number, one in enumerate((studio, other)):
        (receipt,) = posted(one, [note(3 + number)])
        assert receipt.position == size + 1 + number


def test_a_service_that_starts_says_which_tree_is_wrong(
    studio: OpenStudio, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    alter(database, "UPDATE head SET frontier = substr(frontier, 33) WHERE studio = 'paper'")
    monkeypatch.setattr("service.web.serving.serve", lambda *_: None)
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", "")  # the command sets it
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "yes")
    result = CliRunner().invoke(main, ["serve"])
    assert result.exit_code == 0
    assert "paper: position " in result.output
    assert "retake-ledger mend --studio paper" in result.output


REFUSED = [
    ("UPDATE event SET body = body || ' ' WHERE position = 9", "position 9: its bytes"),
    ("DELETE FROM event WHERE position = 9", "position 9: "),
    ("DELETE FROM event WHERE position > 20", "restore a backup"),
]


@pytest.mark.parametrize(("statement", "message"), REFUSED)
def test_nothing_is_made_to_agree_with_what_was_altered(
    studio: OpenStudio, engine: Engine, database: Database, statement: str, message: str
) -> None:
    alter(database, statement)
    before = stored(engine)
    result = mended()
    assert result.exit_code == 1
    assert "nothing was changed" in result.output
    assert message in result.output
    assert stored(engine) == before


def test_bytes_hashed_anew_are_found_by_the_checkpoint(
    studio: OpenStudio, engine: Engine, database: Database
) -> None:
    """Whoever alters an event and its own hash leaves the checkpoint that was signed."""
    alter(
        database,
        "UPDATE event SET body = body || ' ', nodes = sha256('\\x00'::bytea || body || ' ') || "
        "substr(nodes, 33) WHERE position = 9",
    )
    result = mended()
    assert result.exit_code == 1
    assert "the root is not the checkpoint's" in result.output


def test_lost_text_is_reported_and_left(
    studio: OpenStudio, engine: Engine, database: Database
) -> None:
    before = stored(engine)
    alter(database, "DELETE FROM personal WHERE position > 10")
    result = mended()
    assert result.exit_code == 0
    assert "left as it is" in result.output
    assert "its personal text is missing" in result.output
    assert stored(engine)["event"] == before["event"]


def test_a_studio_that_was_never_made(studio: OpenStudio) -> None:
    assert "there is no studio nowhere" in mended("nowhere").output
