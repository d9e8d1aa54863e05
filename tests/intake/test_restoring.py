"""Backups taken while others post, and put back: the same record, or nothing."""

import json
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, create_engine, func, insert, select, text

from service.checking.record import check_record
from service.feeds import backups
from service.feeds.backups import (
    DISPOSABLE,
    MANIFEST,
    SIGNED,
    SIGNER,
    BackupError,
    back_up,
    said_of,
    tables,
)
from service.intake.restoring import RestoreError, restore
from service.log import schema
from service.log.append import read_head
from service.log.checkpoints import read_signed, sign_latest
from service.log.engine import service_engine
from service.log.read import bodies
from service.log.studios import make_studio
from service.log.tree import read_root
from service.proofs.checkpoints import read_checkpoint
from service.proofs.notes import Note, public_key, read_note, sign
from service.proofs.tree import root
from service.record import Studios
from service.settings import Settings
from tests import recording
from tests.conftest import TEMPLATE, Database, Server
from tests.recording import NAME, SEAL_KEY, fact, posted, worker
from tests.telling import office_facts
from tests.workers import tell_with_strikes

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
THREADS, POSTS = 4, 40


def origin_of(studio: str) -> str:
    return f"kestrel.example/{studio}"


KEY = public_key(origin_of(NAME), SECRET)


@pytest.fixture
def recorded(engine: Engine) -> Engine:
    """Two studios, one of which has a record with personal text and strikes, and a checkpoint."""
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    tell_with_strikes(opened)
    posted(opened, [note("first", 0)])
    with engine.begin() as connection:
        sign_latest(connection, NAME, origin_of(NAME), SECRET)
        make_studio(connection, "other", "real", title="The other one", seal_key=SEAL_KEY)
    return engine


@pytest.fixture
def empty(server: Server) -> Iterator[Engine]:
    """Another database, migrated and empty."""
    name = f"test_{uuid4().hex}"
    server.make(name, TEMPLATE)
    engine = service_engine(
        server.database_named(name).service_url, Settings.from_environment({"HOME": "/"})
    )
    yield engine
    engine.dispose()
    server.drop(name)


def note(who: str, number: int) -> dict[str, object]:
    data = {"note": f"N-{who}-{number}", "to": "layout", "text": f"Moon {number} is too low."}
    return fact("note.given", "KESTREL-1/1", data, id=f"note-{who}-{number}")


def backed_up(engine: Engine, folder: Path) -> Path:
    list(back_up(engine, folder, origin_of, SECRET))
    return folder


def test_a_studio_whose_checkpoint_cannot_be_read_back_is_reported_before_it_is_too_late(
    recorded: Engine, tmp_path: Path
) -> None:
    """Earlier releases made studios of any name."""
    at = {"studio": "Paper Lantern", "clock": "real", "made_at": datetime.now(UTC)}
    head = {"studio": at["studio"], "position": 0, "recorded_at": at["made_at"], "frontier": b""}
    with recorded.begin() as connection:
        connection.execute(insert(schema.studio).values(at))
        connection.execute(insert(schema.head).values(head))
    with pytest.raises(BackupError, match=r"^Paper Lantern: .*no backup.*pg_dump"):
        backed_up(recorded, tmp_path / "kept")
    assert not (tmp_path / "kept" / MANIFEST).exists()


def counts(engine: Engine) -> dict[str, int]:
    with engine.connect() as connection:
        return {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in tables()
        }


def test_every_table_is_kept_or_can_be_made_again() -> None:
    assert {table.name for table in tables()} | DISPOSABLE == set(schema.metadata.tables)
    assert {"event", "personal", "token", "checkpoint", "cosignature"} <= {
        table.name for table in tables()
    }


def test_row_for_row_the_same(recorded: Engine, empty: Engine, tmp_path: Path) -> None:
    folder = backed_up(recorded, tmp_path / "kept")
    assert folder.stat().st_mode & 0o77 == 0
    steps = list(restore(empty, folder, (KEY, public_key(origin_of("other"), SECRET)), SEAL_KEY))
    assert steps[-1].rows == steps[-1].rows_in_all
    for table in tables():
        ordered = select(table).order_by(*table.primary_key)
        with recorded.connect() as was, empty.connect() as will:
            assert was.execute(ordered).all() == will.execute(ordered).all(), table.name
    assert counts(empty)["event"] > 30
    assert counts(empty)["personal"] > 0
    with empty.connect() as connection:
        size = read_head(connection, NAME).position
        (signed,) = read_signed(connection, NAME, [size])
        assert read_checkpoint(signed.note.text).root == read_root(connection, NAME, size)
    assert Studios(empty).of(NAME).view().state == worker(recorded).view().state
    (again,) = posted(Studios(empty).of(NAME), [note("first", 0)])
    assert again.repeated
    (new,) = posted(Studios(empty).of(NAME), [note("after", 0)])
    assert new.position == size + 1


def test_taken_while_others_post(recorded: Engine, empty: Engine, tmp_path: Path) -> None:
    acknowledged: list[int] = []
    under_way = threading.Event()

    def go_on(who: str) -> None:
        opened = worker(recorded)
        for number in range(POSTS):
            (receipt,) = posted(opened, [note(who, number)])
            acknowledged.append(receipt.position)
            if number == POSTS // 8:
                under_way.set()

    threads = [threading.Thread(target=go_on, args=(str(one),)) for one in range(THREADS)]
    for thread in threads:
        thread.start()
    assert under_way.wait(60)
    steps = back_up(recorded, tmp_path / "kept", origin_of, SECRET)
    next(steps)  # from here on it is of one moment
    before = list(acknowledged)
    list(steps)
    for thread in threads:
        thread.join()
    list(restore(empty, tmp_path / "kept"))
    with recorded.connect() as was, empty.connect() as will:
        head = read_head(will, NAME)
        assert 0 < head.position < read_head(was, NAME).position
        assert bodies(will, NAME, 0) == bodies(was, NAME, 0, head.position)
        assert read_root(will, NAME, head.position) == root(head.frontier)
        assert read_root(was, NAME, head.position) == root(head.frontier)
    manifest = json.loads((tmp_path / "kept" / MANIFEST).read_text())
    checkpoints = {one["studio"]: one["checkpoint"] for one in manifest["studios"]}
    checkpoint = read_checkpoint(read_note(checkpoints[NAME]).text)
    assert (checkpoint.size, checkpoint.root) == (head.position, root(head.frontier))
    # what was acknowledged before it began is in it; each event with its personal text
    assert before
    assert counts(empty)["event"] == head.position
    kept = [at for at in acknowledged if at <= head.position]
    assert len(kept) >= THREADS
    with empty.connect() as connection:
        query = select(schema.personal.c.position).where(schema.personal.c.studio == NAME)
        assert set(kept) <= set(connection.execute(query).scalars())
    assert Studios(empty).of(NAME).view().position == head.position


def _flip(folder: Path) -> None:
    path = folder / "event.copy"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def _lose(folder: Path) -> None:
    (folder / "personal.copy").unlink()


def _other_migration(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest.update(revision="0001"))


def _other_columns(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"][0]["columns"].pop())


def _other_format(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest.update(format=99))


def _no_manifest(folder: Path) -> None:
    (folder / MANIFEST).unlink()


def _fewer_rows(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"][0].update(rows=77))


def _fewer_studios(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["studios"].pop())


def _out_of_the_folder(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"][0].update(file="../x"))


def _manifest(folder: Path, change: Callable[[Any], object]) -> None:
    manifest = json.loads((folder / MANIFEST).read_text())
    change(manifest)
    text = json.dumps(manifest)
    (folder / MANIFEST).write_text(text)
    said = said_of(text)
    (folder / SIGNED).write_text(str(Note(said, (sign(said, SIGNER, SECRET),))))


def _edited(folder: Path) -> None:
    path = folder / MANIFEST
    path.write_text(path.read_text().replace('"release"', '"Release"'))


def _unsigned(folder: Path) -> None:
    (folder / SIGNED).unlink()


def _one_table_twice(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"].append(manifest["tables"][0]))


def _rows_in_words(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"][0].update(rows="seven"))


def _file_a_number(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["tables"][0].update(file=7))


def _no_studios(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest.update(studios=None))


def _checkpoint_a_number(folder: Path) -> None:
    _manifest(folder, lambda manifest: manifest["studios"][0].update(checkpoint=7))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_flip, "was changed: its SHA-256"),
        (_lose, "cannot be read"),
        (_other_migration, "the backup is of migration 0001"),
        (_other_columns, "other tables or columns"),
        (_other_format, "is of format 99, not 2"),
        (_no_manifest, "is it whole"),
        (_fewer_rows, "the manifest says 77"),
        (_fewer_studios, "other studios"),
        (_out_of_the_folder, "names files outside"),
        (_edited, "manifest.json was changed"),
        (_unsigned, "is the backup whole"),
        (_one_table_twice, "other tables or columns"),
        (_rows_in_words, "is not the manifest"),
        (_file_a_number, "is not the manifest"),
        (_no_studios, "is not the manifest"),
        (_checkpoint_a_number, "is not the manifest"),
    ],
)
def test_what_is_not_what_it_was_is_refused(
    recorded: Engine, empty: Engine, tmp_path: Path, change: Callable[[Path], None], message: str
) -> None:
    folder = backed_up(recorded, tmp_path / "kept")
    change(folder)
    with pytest.raises(RestoreError, match=message):
        list(restore(empty, folder))
    assert set(counts(empty).values()) == {0}


def test_a_database_that_is_not_empty(recorded: Engine, tmp_path: Path) -> None:
    folder = backed_up(recorded, tmp_path / "kept")
    before = counts(recorded)
    with pytest.raises(RestoreError, match="not empty: "):
        list(restore(recorded, folder))
    assert counts(recorded) == before
    with pytest.raises(BackupError, match="File exists"):
        backed_up(recorded, folder)


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("UPDATE event SET body = body || ' ' WHERE position = 9", "position 9: its bytes"),
        ("DELETE FROM event WHERE position = 9", "position 9: "),
        ("DELETE FROM event WHERE position > 20", "position 21: the head is at "),
        (
            "UPDATE personal SET content = convert_to('{\"/data/text\":\"No.\"}', 'UTF8')",
            "its personal text is not what was committed to",
        ),
        (
            "UPDATE event SET subject = 'KESTREL-1/2' WHERE position = 9",
            "position 9: subject beside it",
        ),
        ("UPDATE head SET frontier = substr(frontier, 33) WHERE studio = 'paper'", "head: "),
    ],
)
def test_what_was_altered_below_the_service_is_found(
    recorded: Engine,
    empty: Engine,
    database: Database,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    statement: str,
    message: str,
) -> None:
    """While the backup is written; and where it was not looked at then, as it is put back."""
    owner = create_engine(database.owner_url)
    with owner.begin() as connection:
        connection.execute(text("ALTER TABLE event DISABLE TRIGGER USER"))
        connection.execute(text("ALTER TABLE personal DISABLE TRIGGER USER"))
        connection.execute(text(statement))
    owner.dispose()
    with pytest.raises(BackupError, match=message) as refused:
        backed_up(recorded, tmp_path / "none")
    assert "retake-ledger mend --studio paper" in str(refused.value)
    with pytest.raises(RestoreError, match="is it whole"):
        list(restore(empty, tmp_path / "none"))
    monkeypatch.setattr(
        backups, "check_record", lambda *args: check_record(*args)._replace(findings=[])
    )
    folder = backed_up(recorded, tmp_path / "kept")
    with pytest.raises(RestoreError, match=message):
        list(restore(empty, folder))
    assert set(counts(empty).values()) == {0}


def test_a_backup_that_none_of_the_keys_signed(
    recorded: Engine, empty: Engine, tmp_path: Path
) -> None:
    folder = backed_up(recorded, tmp_path / "kept")
    stranger = public_key(origin_of(NAME), Ed25519PrivateKey.generate())
    with pytest.raises(RestoreError, match="none of the keys"):
        list(restore(empty, folder, (stranger,)))
    assert set(counts(empty).values()) == {0}
    list(restore(empty, folder, (stranger, KEY)))


@pytest.mark.parametrize("studios", [0, 101])
def test_however_many_studios_there_are(
    engine: Engine, empty: Engine, tmp_path: Path, studios: int
) -> None:
    with engine.begin() as connection:
        for number in range(studios):
            make_studio(connection, f"studio-{number}", "real")
    folder = backed_up(engine, tmp_path / "kept")
    list(restore(empty, folder, (KEY,)))
    assert counts(empty)["studio"] == studios


def test_tokens_and_clocks_that_were_altered_are_found_by_the_key(
    recorded: Engine, empty: Engine, tmp_path: Path
) -> None:
    """Whoever writes the manifest anew has no key to sign it with."""
    folder = backed_up(recorded, tmp_path / "kept")
    tokens = folder / "token.copy"
    tokens.write_bytes(tokens.read_bytes().replace(b"supervisor", b"superviser"))
    stranger = Ed25519PrivateKey.generate()
    manifest = json.loads((folder / MANIFEST).read_text())
    for table in manifest["tables"]:
        table["sha256"] = sha256((folder / table["file"]).read_bytes()).hexdigest()
    text_ = json.dumps(manifest)
    (folder / MANIFEST).write_text(text_)
    said = said_of(text_)
    (folder / SIGNED).write_text(str(Note(said, (sign(said, SIGNER, stranger),))))
    with pytest.raises(RestoreError, match=r"none of the keys given signed .*manifest\.note"):
        list(restore(empty, folder, (KEY, public_key(origin_of("other"), SECRET))))
    assert set(counts(empty).values()) == {0}
