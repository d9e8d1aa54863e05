"""What any command does first: where code is run from, and the embedded server ended with it."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from stat import ST_UID

import click
import pytest

from service.installation import read_settings
from service.log.embedded import is_running
from tests.serving import data_folder, environ_of, memory_disk

COMMAND = """
import time
from service.installation import database_of, read_settings
with database_of(read_settings()):
    print("up", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def read_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The data folder of an installation beneath which nothing can be written."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", "")  # so that it is put back
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    monkeypatch.setenv("RETAKE_LEDGER_DATA", str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    return tmp_path


def test_compiled_code_is_kept_beside_the_data(read_only: Path) -> None:
    (read_only / "compiled").mkdir(mode=0o755)
    read_settings()
    assert os.environ["NUMBA_CACHE_DIR"] == str(read_only / "compiled")


@pytest.mark.parametrize("mode", [0o775, 0o757])
def test_no_code_is_run_that_others_may_write(read_only: Path, mode: int) -> None:
    (read_only / "compiled").mkdir()
    (read_only / "compiled").chmod(mode)
    with pytest.raises(click.ClickException, match=r"others may write to .*compiled, from where"):
        read_settings()


@pytest.mark.parametrize("folder", ["", "compiled"])
def test_no_code_of_another_user_is_run(
    read_only: Path, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (read_only / "compiled").mkdir()
    foreign = read_only / folder
    stat = Path.stat

    def stat_of(path: Path, **how: bool) -> os.stat_result:
        found = stat(path, **how)
        if path != foreign:
            return found
        return os.stat_result([4321 if place == ST_UID else one for place, one in enumerate(found)])

    monkeypatch.setattr(Path, "stat", stat_of)
    with pytest.raises(click.ClickException, match=f"others may write to {foreign}, from where"):
        read_settings()


@contextmanager
def with_its_server(data: Path, preamble: str = "") -> Iterator[subprocess.Popen[str]]:
    """A command that has started the embedded server and uses it."""
    command = subprocess.Popen(
        [sys.executable, "-c", preamble + COMMAND],
        env=environ_of(data),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    with command:
        try:
            assert command.stdout is not None
            assert command.stdout.readline() == "up\n"
            assert is_running(data)
            yield command
        finally:
            command.kill()


IGNORING = """
import signal
signal.signal(signal.SIGHUP, signal.SIG_IGN)
signal.signal(signal.SIGINT, signal.SIG_IGN)
"""
RAISING = """
import signal
from service.signals import signals_raised
signal.signal(signal.{0}, signal.SIG_DFL)
with signals_raised():
    signal.raise_signal(signal.{0})
"""


def test_a_signal_that_ends_a_command_ends_the_server_it_started() -> None:
    with data_folder(memory_disk()) as data:
        with with_its_server(data, IGNORING) as command:
            for number in (signal.SIGHUP, signal.SIGINT):  # as `nohup` and a shell's `&` have it
                command.send_signal(number)
                with pytest.raises(subprocess.TimeoutExpired):
                    command.wait(0.3)
            command.send_signal(signal.SIGTERM)
            assert command.wait(60) == 128 + signal.SIGTERM
        assert not is_running(data)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_is_raised_unless_it_was_to_be_ignored(number: signal.Signals) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", RAISING.format(number.name)], timeout=60, check=False
    )
    assert ended.returncode == 128 + number
