"""The service as its users run it: `retake-ledger serve` in processes of its own."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from service.log.embedded import stop

UP_S = 240
COMMAND = [sys.executable, "-m", "service.cli"]


def environ_of(data: Path) -> dict[str, str]:
    """An environment in which nothing but the data folder is configured."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith("RETAKE_LEDGER_")}
    return {**kept, "RETAKE_LEDGER_DATA": str(data)}


def command(data: Path, *words: str) -> str:
    """What the command prints; it must succeed."""
    done = subprocess.run(
        [*COMMAND, *words], env=environ_of(data), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def issued(data: Path, role: str) -> str:
    """A token of the studio `paper`, for sources beneath `/tests`."""
    words = ["token", "issue", "--studio", "paper", "--role", role, "--name", role]
    return command(data, *words, "--source", "/tests").split()[-1]


@contextmanager
def data_folder() -> Iterator[Path]:
    """A folder for data that is not there yet; its server is stopped and all of it removed."""
    folder = Path(tempfile.mkdtemp(prefix="rl-"))
    folder.chmod(0o711)  # so that the account which root runs the server as can pass
    try:
        yield folder / "d"
    finally:
        stop(folder / "d")
        shutil.rmtree(folder)


def postmaster_pid(data: Path) -> int:
    """The process of the embedded server."""
    return int((data / "postgresql/postmaster.pid").read_text().split()[0])


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def served(data: Path, *, workers: int = 2) -> Iterator[str]:
    """The URL of a running service; it is ended by the signal a user would send."""
    port = free_port()
    words = ["serve", "--quiet", "--port", str(port), "--workers", str(workers)]
    server = subprocess.Popen([*COMMAND, *words], env=environ_of(data))
    url = f"http://127.0.0.1:{port}"
    try:
        deadline = time.monotonic() + UP_S
        while not _ready(url):
            assert server.poll() is None, "the service ended"
            assert time.monotonic() < deadline, "the service did not come up"
            time.sleep(0.1)
        yield url
    finally:
        server.send_signal(signal.SIGTERM)
        assert server.wait(timeout=60) == 0


def _ready(url: str) -> bool:
    try:
        return httpx.get(f"{url}/ready", timeout=5).is_success
    except httpx.TransportError:
        return False
