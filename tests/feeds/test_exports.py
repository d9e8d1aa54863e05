"""An export and its reading back, on a real log."""

import json
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.feeds.exports import (
    CHECKPOINT,
    CONTENTS,
    EVENTS,
    NODES,
    PERSONAL,
    ExportError,
    export,
)
from service.intake.exported import (
    ExportedError,
    read_leaves,
    read_record,
    read_signed_checkpoint,
    wrong_text,
)
from service.log.append import UnknownStudioError
from service.log.studios import make_studio
from service.proofs.canonical import canonical, commitment
from service.proofs.examining import examine
from service.proofs.notes import public_key
from service.proofs.tree import leaf_hash
from tests.log.recording import START_US, STUDIO, record

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/north"
KEY = public_key(ORIGIN, SECRET)
OTHER = public_key("kestrel.example/other", SECRET)
COUNT = 7
SALT = bytes(range(16))
TEXT = {"/data/why": "The moon is missing."}


@pytest.fixture
def studio(engine: Engine) -> Engine:
    body = canonical({"personal": commitment(SALT, TEXT), "position": 3})
    given: list[dict[str, object]] = [{} for _ in range(COUNT)]
    given[2] = {"body": body, "salt": SALT, "personal": canonical(TEXT)}
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        record(connection, given)
    return engine


@pytest.fixture
def exported(studio: Engine, tmp_path: Path) -> Path:
    progress = list(export(studio, STUDIO, tmp_path / "out", ORIGIN, SECRET, personal=True))
    assert progress == [(COUNT, COUNT)]
    return tmp_path / "out"


def test_a_line_an_event_and_each_is_its_leaf(exported: Path) -> None:
    lines = (exported / EVENTS).read_bytes().splitlines()
    assert [json.loads(line)["position"] for line in lines] == list(range(1, COUNT + 1))
    assert read_leaves(exported) == [leaf_hash(line) for line in lines]


def test_content_hashes_where_the_bytes_alone_do_not_give_them(exported: Path) -> None:
    hashed = sha256(b'{"position":3}').digest()
    assert (exported / CONTENTS).read_text() == f"3 {b64encode(hashed).decode()}\n"


def test_it_agrees_with_its_own_checkpoint(exported: Path) -> None:
    checkpoint = read_signed_checkpoint(exported / CHECKPOINT, (KEY,))
    assert (checkpoint.origin, checkpoint.size) == (ORIGIN, COUNT)
    examined = examine(read_record(exported), [checkpoint])
    assert (examined.size, examined.root, examined.difference) == (COUNT, checkpoint.root, None)
    assert wrong_text(exported) is None


def test_without_the_hashes_it_is_checked_by_the_checkpoint_alone(exported: Path) -> None:
    checkpoint = read_signed_checkpoint(exported / CHECKPOINT, ())
    (exported / NODES).unlink()
    assert examine(read_record(exported), [checkpoint]).difference is None


def test_personal_text_only_where_it_is_asked_for(studio: Engine, tmp_path: Path) -> None:
    list(export(studio, STUDIO, tmp_path / "bare", ORIGIN, SECRET, personal=False))
    assert not (tmp_path / "bare" / PERSONAL).exists()
    assert wrong_text(tmp_path / "bare") is None


@pytest.mark.parametrize(
    ("before", "after", "position"),
    [
        ("moon", "sun", 3),
        ('"salt":"00', '"salt":"01', 3),
        ('"position":3', '"position":4', 4),
        ('"position":3', '"position":99', 99),
    ],
)
def test_changed_text_is_found(exported: Path, before: str, after: str, position: int) -> None:
    path = exported / PERSONAL
    content = path.read_text()
    assert before in content
    path.write_text(content.replace(before, after))
    difference = wrong_text(exported)
    assert difference is not None
    assert difference.position == position


def test_a_checkpoint_by_another_key_is_refused(exported: Path, tmp_path: Path) -> None:
    with pytest.raises(ExportedError, match="none of the keys"):
        read_signed_checkpoint(exported / CHECKPOINT, (OTHER,))
    with pytest.raises(ExportedError, match="cannot be read"):
        read_signed_checkpoint(tmp_path / "nowhere", ())
    (tmp_path / "no").write_text("no note")
    with pytest.raises(ExportedError, match="a note is"):
        read_signed_checkpoint(tmp_path / "no", ())


def test_files_that_are_not_those_of_an_export(exported: Path) -> None:
    (exported / PERSONAL).write_text("{}\n")
    with pytest.raises(ExportedError, match="not personal text"):
        wrong_text(exported)
    (exported / NODES).write_text("?\n")
    with pytest.raises(ExportedError, match="base64"):
        list(read_record(exported))
    (exported / EVENTS).unlink()
    with pytest.raises(ExportedError, match="cannot be read"):
        list(read_record(exported))


def test_a_line_too_many_in_either_file(exported: Path) -> None:
    checkpoint = read_signed_checkpoint(exported / CHECKPOINT, ())
    with (exported / NODES).open("a") as nodes:
        nodes.write(b64encode(bytes(32)).decode() + "\n")
    examined = examine(read_record(exported), [checkpoint])
    assert examined.difference is not None
    assert examined.difference.position == COUNT + 1


def test_nothing_is_overwritten(exported: Path, studio: Engine) -> None:
    with pytest.raises(ExportError, match="File exists"):
        list(export(studio, STUDIO, exported, ORIGIN, SECRET, personal=False))
    with pytest.raises(UnknownStudioError):
        list(export(studio, "nowhere", exported, ORIGIN, SECRET, personal=False))


def test_an_empty_record(engine: Engine, tmp_path: Path) -> None:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
    assert list(export(engine, STUDIO, tmp_path / "out", ORIGIN, SECRET, personal=True)) == []
    checkpoint = read_signed_checkpoint(tmp_path / "out" / CHECKPOINT, (KEY,))
    assert checkpoint.size == 0
    assert examine(read_record(tmp_path / "out"), [checkpoint]).difference is None
