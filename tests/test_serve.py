"""The command that serves: where it cannot listen, and whom it ends with."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator

import pytest
from click.testing import CliRunner

from service.cli import main
from tests.serving import free_port

CALLED = """
import os, sys, time
from pathlib import Path
from service.serve import _ended_with_caller
from service.settings import Settings
with _ended_with_caller(int(sys.argv[1]), Settings(None, None, Path("/nowhere"))):
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


def test_it_ends_with_who_called_it() -> None:
    ours, theirs = os.pipe()
    called = subprocess.Popen(
        [sys.executable, "-c", CALLED, str(ours)],
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
        assert called.wait(20) == -signal.SIGTERM
