"""The command that serves: where it cannot listen, and whom it ends with."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from click.testing import CliRunner

from service.cli import main
from service.log.embedded import ensure_running, is_running
from tests.serving import Service, data_folder, free_port, memory_disk

CALLED = """
import os, sys, time
from pathlib import Path
from service.serve import _ended_with_caller
from service.settings import Settings
with _ended_with_caller(int(sys.argv[1]), Settings(None, None, Path(sys.argv[2]))):
    print("up", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def taken() -> Iterator[int]:
    """A port at which somebody else listens."""
    with socket.create_server(("127.0.0.1", 0)) as holder:
        yield holder.getsockname()[1]


def refused(*words: object) -> str:
    result = CliRunner().invoke(main, ["serve", *map(str, words)])
    assert result.exit_code == 1
    assert result.output.count("\n") == 1
    return result.output


def test_a_port_that_is_taken_is_told_at_once(taken: int) -> None:
    said = refused("--port", taken)
    assert said.startswith(f"Error: cannot listen at 127.0.0.1:{taken} (Address already in use)")
    assert said.endswith("name another with --host and --port\n")
    said = refused("--port", free_port(), "--metrics-bind", f"127.0.0.1:{taken}")
    assert said.endswith("name another with --metrics-bind\n")


@pytest.mark.parametrize("host", ["192.0.2.1", "no-such-host.invalid"])
def test_an_address_that_is_not_of_this_machine_is_told_at_once(host: str) -> None:
    assert f"cannot listen at {host}:" in refused("--host", host, "--port", free_port())


def test_it_ends_with_who_called_it_and_stops_the_server_that_was_left() -> None:
    ours, theirs = os.pipe()
    with data_folder(memory_disk()) as data:
        ensure_running(data)
        called = subprocess.Popen(
            [sys.executable, "-c", CALLED, str(ours), str(data)],
            pass_fds=[ours],
            stdout=subprocess.PIPE,
            text=True,
        )
        with called:
            os.close(ours)
            assert called.stdout is not None
            assert called.stdout.readline() == "up\n"
            assert called.poll() is None
            os.close(theirs)  # as when the caller was killed
            assert called.wait(60) == 128 + signal.SIGTERM
        assert not is_running(data)


def test_its_end_stops_its_server_and_no_worker_stands_in_the_way(tmp_path: Path) -> None:
    with data_folder(memory_disk()) as data:
        service = Service(data, workers=2, log=tmp_path / "log")
        service.start()
        service.wait_until_ready()
        for _ in range(20):  # each worker has a connection by then
            httpx.get(f"{service.url}/ready").raise_for_status()
        service.end()
        assert "left running" not in (tmp_path / "log").read_text()
        assert not is_running(data)
