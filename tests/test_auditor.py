"""The auditor's commands on files, as they are typed."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.cli import main
from service.feeds.exports import CHECKPOINT, EVENTS, NODES, export
from service.log.studios import make_studio
from service.proofs.notes import public_key
from tests.log.recording import START_US, STUDIO, record

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/north"
KEY = str(public_key(ORIGIN, SECRET))
OTHER = str(public_key("kestrel.example/other", SECRET))


def typed(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def exports(engine: Engine, tmp_path: Path) -> tuple[Path, Path]:
    """The record at seven events and at twelve."""
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
    for name, count in (("old", 7), ("new", 5)):
        with engine.begin() as connection:
            record(connection, [{} for _ in range(count)])
        list(export(engine, STUDIO, tmp_path / name, ORIGIN, SECRET, personal=True))
    return tmp_path / "old", tmp_path / "new"


def edit(folder: Path, position: int, *, carefully: bool = False) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines(keepends=True)
    lines[position - 1] = lines[position - 1].replace(b"}", b',"more":1}')
    (folder / EVENTS).write_bytes(b"".join(lines))
    if carefully:
        (folder / NODES).unlink()


def test_a_record_that_goes_on_from_an_old_checkpoint(exports: tuple[Path, Path]) -> None:
    old, new = exports
    result = typed("verify", new, "--checkpoint", old / CHECKPOINT, "--key", KEY, "--against", old)
    assert result.exit_code == 0
    assert (
        result.output == "12 events, as they were; checkpoints that agree: 1 and the older export\n"
    )


def test_an_edit_is_reported_with_its_position(exports: tuple[Path, Path]) -> None:
    old, new = exports
    edit(new, 4)
    result = typed("verify", new, "--checkpoint", old / CHECKPOINT)
    assert result.exit_code == 1
    assert result.output.startswith("NOT what it was: position 4: its bytes are not those")


def test_a_careful_edit_lies_at_or_before_the_checkpoint(exports: tuple[Path, Path]) -> None:
    old, new = exports
    edit(new, 4, carefully=True)
    result = typed("verify", new, "--checkpoint", old / CHECKPOINT)
    assert result.exit_code == 1
    assert "position 7" in result.output
    assert "behind 0, at or before 7" in result.output
    result = typed("verify", new, "--against", old)
    assert result.exit_code == 1
    assert "position 4: the event here is not the older export's" in result.output


def cut(folder: Path, count: int) -> None:
    """Take away the last events, and the hashes beside them."""
    for name in (EVENTS, NODES):
        if not (folder / name).exists():
            continue
        lines = (folder / name).read_bytes().splitlines(keepends=True)
        (folder / name).write_bytes(b"".join(lines[:-count]))


def test_what_came_behind_the_checkpoint_kept_is_held_against_the_one_in_the_folder(
    exports: tuple[Path, Path],
) -> None:
    old, new = exports
    kept = ("--checkpoint", old / CHECKPOINT, "--key", KEY)
    edit(new, 12, carefully=True)
    result = typed("verify", new, *kept)
    assert result.exit_code == 1
    assert "position 12" in result.output
    cut(new, 2)
    result = typed("verify", new, *kept)
    assert result.exit_code == 1
    assert "position 11: the record ends at 10, the checkpoint covers 12" in result.output
    (new / CHECKPOINT).write_text("x")
    assert typed("verify", new, *kept).exit_code == 1


def test_what_came_behind_the_checkpoint_in_the_folder_is_told(exports: tuple[Path, Path]) -> None:
    old, new = exports
    (new / CHECKPOINT).write_bytes((old / CHECKPOINT).read_bytes())
    result = typed("verify", new, "--key", KEY)
    assert result.exit_code == 1
    assert "position 8: the checkpoint in the folder covers 7 events, there are 12" in result.output


def test_where_nothing_is_at_hand_to_hold_it_against_it_says_so(
    exports: tuple[Path, Path],
) -> None:
    result = typed("verify", exports[1])
    assert result.exit_code == 0
    assert result.output == (
        "12 events that agree with the hashes beside them, held against nothing kept elsewhere; "
        "checkpoints that agree: 0\n"
    )


def test_a_record_cut_short(exports: tuple[Path, Path]) -> None:
    old, new = exports
    result = typed("verify", old, "--checkpoint", new / CHECKPOINT)
    assert result.exit_code == 1
    assert "position 8: the record ends at 7, the checkpoint covers 12" in result.output
    result = typed("verify", old, "--against", new)
    assert result.exit_code == 1
    assert "position 8" in result.output


def test_what_cannot_be_checked_is_an_error_and_not_a_verdict(exports: tuple[Path, Path]) -> None:
    old, new = exports
    for arguments, message in (
        (["--checkpoint", old / CHECKPOINT, "--key", OTHER], "none of the keys"),
        (["--key", "KEY"], "a key is"),
        (["--checkpoint", old / "nowhere"], "cannot be read"),
        (["--url", "http://127.0.0.1:9"], "name the folder of an export, or --url"),
        (["--all"], "leave everything but --checkpoint and --key out"),
        (["--studio", "north"], "leave everything but --checkpoint and --key out"),
    ):
        result = typed("verify", new, *arguments)
        assert result.exit_code not in {0, 1} or "Error" in result.output
        assert message in result.output
    assert "--url and --token-file" in typed("verify").output


def test_keys_are_made_shown_and_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("RETAKE_LEDGER_ORIGIN", "ledger.example.com")
    result = typed("signing-key", "show", "--studio", "north")
    assert result.exit_code == 1
    assert "signing-key make" in result.output
    made = typed("signing-key", "make", "--studio", "north").output
    assert made.startswith("ledger.example.com/north+")
    assert typed("signing-key", "make", "--studio", "north").output == made
    assert typed("signing-key", "show", "--studio", "north").output == made
    assert typed("signing-key", "rotate", "--studio", "north").output != made


def test_the_command_starts_without_what_is_compiled() -> None:
    """The folder of compiled code must be set first; and a second is long for `token list`."""
    script = "import service.cli, sys; sys.exit('numba' in sys.modules or 'flask' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0


def test_every_command_is_listed() -> None:
    output = typed("--help").output
    records = ("export", "verify", "import", "backup", "restore")
    for name in (*records, "signing-key", "erase-text", "mend", "serve"):
        assert re.search(rf"^  {name} ", output, re.MULTILINE)
