"""An episode's events with their proofs, on a real log."""

from base64 import b64encode
from collections.abc import Callable
from pathlib import Path
from typing import Any

import orjson
import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.cli import main
from service.feeds.episode_exports import PROOFS, export_episode
from service.feeds.exports import CHECKPOINT, EVENTS, PERSONAL, ExportError, export
from service.intake.exported import ExportedError, read_signed_checkpoint
from service.intake.importing import Aim, ImportedError, take_in
from service.intake.verifying import Verified, verify_episode
from service.log.append import UnknownStudioError
from service.proofs.notes import public_key
from tests import recording
from tests.recording import NAME, fact, posted, worker
from tests.telling import office_facts
from tests.workers import tell_with_strikes

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/paper"
KEY = public_key(ORIGIN, SECRET)
OTHER = public_key("kestrel.example/other", SECRET)


def note(episode: int) -> dict[str, object]:
    data = {"note": f"N-{episode}", "to": "layout", "text": "Moon too low."}
    return fact("note.given", f"KESTREL-{episode}/1", data, id=f"note-{episode}")


@pytest.fixture
def recorded(engine: Engine) -> Engine:
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    tell_with_strikes(opened)
    posted(opened, [note(1), note(2)])
    return engine


@pytest.fixture
def exported(recorded: Engine, tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    list(export_episode(recorded, NAME, "KESTREL-1", folder, ORIGIN, SECRET, personal=True))
    return folder


def events_of(folder: Path) -> list[dict[str, Any]]:
    return [orjson.loads(line) for line in (folder / EVENTS).read_bytes().splitlines()]


def typed(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_its_events_and_no_others_each_proven(exported: Path, recorded: Engine) -> None:
    events = events_of(exported)
    subjects = {str(event["subject"]) for event in events}
    scenes = {f"KESTREL-1/{number}" for number in (1, 2, 3)}
    # strikes of its events are about the studio
    assert subjects == {"KESTREL-1", *scenes, "studio"}
    assert {event["type"] for event in events if event["subject"] == "studio"} == {"event.struck"}
    positions = [event["position"] for event in events]
    assert positions == sorted(positions)
    checkpoint = read_signed_checkpoint(exported / CHECKPOINT, (KEY,))
    with (exported / PROOFS).open("rb") as proofs:
        for line, event in zip(proofs, events, strict=True):
            proof = orjson.loads(line)
            assert proof["position"] == proof["leaf_index"] + 1 == event["position"]
            assert proof["size"] == checkpoint.size
    assert verify_episode(exported, [checkpoint], (KEY,)) == Verified(len(events), None)
    texts = (exported / PERSONAL).read_bytes()
    assert texts.count(b"Moon") == 1


def test_the_checkpoint_is_that_of_the_whole_record(
    exported: Path, recorded: Engine, tmp_path: Path
) -> None:
    list(export(recorded, NAME, tmp_path / "whole", ORIGIN, SECRET, personal=False))
    whole = (tmp_path / "whole" / CHECKPOINT).read_text()
    assert (exported / CHECKPOINT).read_text() == whole


def test_a_few_at_a_time(exported: Path, recorded: Engine, tmp_path: Path) -> None:
    folder = tmp_path / "slowly"
    arguments = (recorded, NAME, "KESTREL-1", folder, ORIGIN, SECRET)
    list(export_episode(*arguments, personal=False, at_once=3))
    assert not (folder / PERSONAL).exists()
    for file in (EVENTS, PROOFS, CHECKPOINT):
        assert (folder / file).read_bytes() == (exported / file).read_bytes()


def _lines(folder: Path, file: str, change: Callable[[list[bytes]], object]) -> None:
    lines = (folder / file).read_bytes().splitlines(keepends=True)
    change(lines)
    (folder / file).write_bytes(b"".join(lines))


def _edit(folder: Path) -> None:
    _lines(folder, EVENTS, lambda all_: all_.__setitem__(2, all_[2].replace(b":", b": ", 1)))


def _exchange(folder: Path) -> None:
    _lines(folder, EVENTS, lambda all_: all_.insert(0, all_.pop(1)))


def _twice(folder: Path) -> None:
    for file in (EVENTS, PROOFS):
        _lines(folder, file, lambda all_: all_.insert(1, all_[0]))


def _other_size(folder: Path) -> None:
    _lines(folder, PROOFS, lambda all_: all_.__setitem__(
        0, orjson.dumps(orjson.loads(all_[0]) | {"size": 9}) + b"\n"))  # fmt: skip


def _other_hash(folder: Path) -> None:
    hashes = [b64encode(bytes(32)).decode()] * 6
    _lines(folder, PROOFS, lambda all_: all_.__setitem__(
        0, orjson.dumps(orjson.loads(all_[0]) | {"hashes": hashes}) + b"\n"))  # fmt: skip


def _other_text(folder: Path) -> None:
    path = folder / PERSONAL
    path.write_bytes(path.read_bytes().replace(b"Moon", b"Sun"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_edit, "not those in the record"),
        (_exchange, "not those in the record"),
        (_twice, "twice, or out of order"),
        (_other_size, "its proof is of 9 events"),
        (_other_hash, "not those in the record"),
        (_other_text, "its personal text"),
    ],
)
def test_what_is_not_in_the_record_is_found(
    exported: Path, change: Callable[[Path], None], message: str
) -> None:
    change(exported)
    found = verify_episode(exported, [], (KEY,)).difference
    assert found is not None
    assert message in found.what
    ended = typed("verify", exported)
    assert ended.exit_code == 1
    assert f"NOT what it was: position {found.position}" in ended.output


def test_checkpoints_kept_elsewhere(exported: Path) -> None:
    own = read_signed_checkpoint(exported / CHECKPOINT, ())
    found = verify_episode(exported, [own._replace(root=bytes(32))]).difference
    assert found is not None
    with pytest.raises(ExportedError, match="take the one of"):
        verify_episode(exported, [own._replace(size=5)])
    with pytest.raises(ExportedError, match="none of the keys"):
        verify_episode(exported, [], (OTHER,))
    (exported / PROOFS).write_text("{}\n")
    with pytest.raises(ExportedError, match="not a proof"):
        verify_episode(exported, [])


def test_the_commands_know_which_sort_it_is(exported: Path, recorded: Engine) -> None:
    count = len(events_of(exported))
    ended = typed("verify", exported, "--key", str(KEY), "--checkpoint", exported / CHECKPOINT)
    assert ended.exit_code == 0
    assert ended.output == (
        f"{count} events of one episode, each in the record; checkpoints that agree: 1\n"
    )
    assert "a whole record" in typed("verify", exported, "--against", exported).output
    with pytest.raises(ImportedError, match="an episode's export"):
        list(take_in(recorded, Aim("taken", "simulated"), exported))


def test_what_cannot_be_exported(exported: Path, recorded: Engine, tmp_path: Path) -> None:
    def attempt(studio: str, episode: str, folder: Path) -> list[int]:
        return list(
            export_episode(recorded, studio, episode, folder, ORIGIN, SECRET, personal=False)
        )

    with pytest.raises(ExportError, match="no episode KESTREL-9"):
        attempt(NAME, "KESTREL-9", tmp_path / "new")
    with pytest.raises(ExportError, match="File exists"):
        attempt(NAME, "KESTREL-1", exported)
    with pytest.raises(UnknownStudioError):
        attempt("nowhere", "KESTREL-1", tmp_path / "new")
    assert not (tmp_path / "new").exists()
