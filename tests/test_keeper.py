"""The commands of the keeper of a record, as they are typed."""

from pathlib import Path
from uuid import uuid4

import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.cli import main
from service.feeds.exports import CHECKPOINT, export
from service.proofs.notes import public_key
from tests import recording
from tests.conftest import TEMPLATE, Database, Server
from tests.recording import NAME, posted, worker
from tests.telling import office_facts

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/paper"
KEY = str(public_key(ORIGIN, SECRET))


def typed(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def studio(
    engine: Engine, database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Engine:
    """A studio in the database that commands find configured."""
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "keys"))
    recording.make(engine)
    posted(worker(engine), office_facts(scenes=3), role="office")
    return engine


def test_a_record_is_taken_in_once(studio: Engine, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    list(export(studio, NAME, folder, ORIGIN, SECRET, personal=True))
    words = ("import", folder, "--studio", "taken", "--clock", "simulated")
    result = typed(*words, "--checkpoint", folder / CHECKPOINT, "--key", KEY)
    assert result.exit_code == 0, result.output
    count = len(office_facts(scenes=3))
    assert result.output.endswith(f"taken: {count} events, as they were\n")
    again = typed(*words)
    assert again.exit_code == 1
    assert "nothing was kept: taken: made already" in again.output


def test_a_studio_is_not_imported_under_a_name_that_is_none(studio: Engine, tmp_path: Path) -> None:
    list(export(studio, NAME, tmp_path / "out", ORIGIN, SECRET, personal=True))
    wrong = typed("import", tmp_path / "out", "--studio", "Paper Lantern")
    assert wrong.exit_code == 1
    assert "Error: nothing was kept: 'Paper Lantern' is no name of a studio" in wrong.output


def test_clocks_that_are_wrong(studio: Engine, tmp_path: Path) -> None:
    wrong = typed("import", tmp_path, "--studio", "taken", "--clock-at", "2031-03-03T08:00:00Z")
    assert "--clock-at is said with --clock simulated" in wrong.output
    wrong = typed("import", tmp_path, "--studio", "t", "--clock", "simulated", "--clock-at", "noon")
    assert "Invalid value for --clock-at" in wrong.output
    nothing = typed("import", tmp_path / "nowhere", "--studio", "taken")
    assert "cannot be read" in nothing.output


def test_a_backup_is_put_back_into_an_empty_database(
    studio: Engine, server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "kept"
    result = typed("backup", folder)
    assert result.exit_code == 0, result.output
    assert result.output.endswith(f"{folder}\n")
    assert not list(folder.glob("*.pem"))
    full = typed("restore", folder)
    assert full.exit_code == 1
    assert "nothing was kept: the database is not empty" in full.output
    name = f"test_{uuid4().hex}"
    server.make(name, TEMPLATE)
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", server.database_named(name).service_url)
    result = typed("restore", folder)
    assert result.exit_code == 0, result.output
    assert "studios, as they were: 1\n" in result.output
    assert (
        "nobody vouches for what lies outside the records: tokens, titles, clocks" in result.output
    )
    server.drop(name)
    server.make(name, TEMPLATE)
    # another installation, to which nobody brought the keys
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "elsewhere"))
    result = typed("restore", folder)
    assert "there is no signing key in" in result.output
    server.drop(name)
