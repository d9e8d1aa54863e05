"""The service as its users run it: `retake-ledger serve` in processes of its own."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from random import SystemRandom
from types import MappingProxyType

import httpx
from click.testing import CliRunner

from service.cli import main
from service.log.embedded import stop
from tests.waiting import wait_until

UP_S = 240
LOG_TAIL_CHARS = 4_000
PORTS = range(20_000, 32_000)
"""Below those that clients are given: Linux has theirs from 32768 on, RFC 6335 from 49152."""
COMMAND = [sys.executable, "-m", "service.cli"]
ROOM_BYTES = 4 << 30
_SHARED_MEMORY = Path("/dev/shm")  # noqa: S108  # a disk in memory, not a name that can be guessed


def environ_of(data: Path) -> dict[str, str]:
    """An environment in which nothing but the data folder is configured.

    And that wrong tokens are not slowed: all tests come from one address. What is compiled is what
    users have, without the checks that tests make of it.
    """
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("RETAKE_LEDGER_", "NUMBA_"))}
    quota = {"RETAKE_LEDGER_WRONG_TOKENS_MAX": "1000000", "RETAKE_LEDGER_REQUESTS_MAX": "1000000"}
    return {**kept, **quota, "RETAKE_LEDGER_DATA": str(data)}


def command(data: Path, *words: str) -> str:
    """What the command prints; it must succeed. It runs in this process, which saves its start."""
    only = {**dict.fromkeys(os.environ), **environ_of(data)}  # those of None are unset
    done = CliRunner().invoke(main, words, env=only)
    assert done.exit_code == 0, done.output
    return done.stdout


def issued(data: Path, role: str, studio: str = "paper", name: str = "") -> str:
    """A token of a studio, for sources beneath `/tests`."""
    words = ["token", "issue", "--studio", studio, "--role", role, "--name", name or role]
    return command(data, *words, "--source", "/tests").split()[-1]


def memory_disk() -> Path | None:
    """A disk in memory with room for databases; None where there is none."""
    if not os.access(_SHARED_MEMORY, os.W_OK):
        return None
    found = os.statvfs(_SHARED_MEMORY)
    return _SHARED_MEMORY if found.f_bavail * found.f_frsize >= ROOM_BYTES else None


@contextmanager
def data_folder(parent: Path | None = None) -> Iterator[Path]:
    """A folder for data that is not there yet; its server is stopped and all of it removed.

    Unless `parent` is given, it is made where temporary files are.
    """
    folder = Path(tempfile.mkdtemp(prefix="rl-", dir=parent))
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
    """A port that nobody listens at, and that no client is given by the system.

    A service that is started again has to have it again; where a client's connection had it
    meanwhile, even one that is closed, it could not for a minute.
    """
    for port in SystemRandom().sample(PORTS, len(PORTS)):
        with socket.socket() as probe, suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError(f"no port is free from {PORTS.start} to {PORTS.stop - 1}")


class Service:
    """`retake-ledger serve` at one port, in processes that can be killed and started again.

    What it logs is added to the file `log`; without one it goes where the caller's own errors go.
    `environ` is added to its environment.
    """

    def __init__(
        self,
        data: Path,
        workers: int,
        log: Path | None = None,
        environ: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self._data, self._workers, self._log, self._environ = data, workers, log, environ
        self._port = free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self.url = f"http://127.0.0.1:{self._port}"

    def start(self) -> None:
        """Start it, without waiting for it to answer."""
        words = ["serve", "--quiet", "--port", str(self._port), "--workers", str(self._workers)]
        with nullcontext() if self._log is None else self._log.open("ab") as output:
            # a session of its own, so that all of its processes can be killed at once
            self._process = subprocess.Popen(
                [*COMMAND, *words],
                env={**environ_of(self._data), **self._environ},
                stderr=output,
                start_new_session=True,
            )

    def wait_until_ready(self) -> None:
        """Wait until it answers; fails where it has ended or takes too long."""

        def is_ready() -> bool:
            assert self.running.poll() is None, "the service ended"
            return _ready(self.url)

        wait_until(is_ready, "the service did not come up", UP_S, every_s=0.1)

    @property
    def running(self) -> "subprocess.Popen[bytes]":
        """Its first process, the parent of its workers."""
        assert self._process is not None, "the service was not started"
        return self._process

    def log_tail(self) -> str:
        """What it logged last; empty without a file of its own."""
        return "" if self._log is None else self._log.read_text()[-LOG_TAIL_CHARS:]

    def child_pids(self) -> list[int]:
        """The processes it started: workers that answer requests, and one that builds trails."""
        return children_of(self.running.pid)

    def kill(self) -> None:
        """Kill all of its processes at once."""
        os.killpg(self.running.pid, signal.SIGKILL)
        self.running.wait()

    def kill_parent(self) -> None:
        """Kill its first process alone; workers are left to notice."""
        self.running.kill()
        self.running.wait()

    def end(self) -> None:
        """End it by the signal a user would send; it must end well."""
        self.running.send_signal(signal.SIGTERM)
        assert self.running.wait(timeout=60) == 0


def children_of(pid: int) -> list[int]:
    """The processes that a process started and that still run."""
    listed = subprocess.run(
        ["ps", "-A", "-o", "pid=,ppid="], capture_output=True, text=True, check=True
    )
    pairs = (map(int, line.split()) for line in listed.stdout.splitlines())
    return [child for child, parent in pairs if parent == pid]


def is_alive(pid: int) -> bool:
    """Whether a process runs; one that ended and that nobody has waited for does not."""
    shown = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False
    )
    return shown.stdout.strip().startswith(("R", "S", "D", "I"))


@contextmanager
def served(data: Path, *, workers: int = 2) -> Iterator[str]:
    """The URL of a running service; it is ended by the signal a user would send."""
    service = Service(data, workers)
    service.start()
    try:
        service.wait_until_ready()
        yield service.url
    finally:
        service.end()


def _ready(url: str) -> bool:
    try:
        return httpx.get(f"{url}/ready", timeout=5).is_success
    except httpx.TransportError:
        return False
