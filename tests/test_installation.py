"""What any command does first: where code is run from, and the embedded server ended with it."""

import os
import signal
import subprocess
import sys
from pathlib import Path

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
    if os.geteuid() == 0:
        os.chown(read_only / folder, 4321, -1)
    else:
        monkeypatch.setattr(os, "geteuid", lambda: 1234)
    with pytest.raises(click.ClickException, match=r"others may write to .*, from where"):
        read_settings()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_signal_that_ends_a_command_ends_the_server_it_started(number: signal.Signals) -> None:
    with data_folder(memory_disk()) as data:
        command = subprocess.Popen(
            [sys.executable, "-c", COMMAND],
            env=environ_of(data),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        with command:
            assert command.stdout is not None
            assert command.stdout.readline() == "up\n"
            assert is_running(data)
            command.send_signal(number)
            assert command.wait(60) in {128 + number, -number}
        assert not is_running(data)
