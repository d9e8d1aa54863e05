"""Faults that are brought about in an installation that is being used.

Each is a function of the installation and a source of chance. It gives the moment (monotonic) from
which on the service is expected to recover: that of the kill, or the end of a pause or a full disk.
"""

import os
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from shutil import which

from service.log.embedded import stop
from tests.crash.independent import connect
from tests.serving import COMMAND, Service, children_of, environ_of, is_alive, postmaster_pid

PAUSE_S = (1.0, 4.0)
FULL_S = (1.0, 3.0)
DISK_BYTES = 1 << 30
BACKUP_S_MAX = 120
INTO_BACKUP_S_MAX = 3.0
ORPHANED_S_MAX = 60


class Installation:
    """A service with its data folder; what backups of it say is kept in `backups`."""

    def __init__(self, data: Path, service: Service) -> None:
        self.data, self.service = data, service
        self.backups: list[Path] = []


Fault = Callable[[Installation, Random], float]


def kill_worker(used: Installation, draw: Random) -> float:
    """Kill one worker."""
    os.kill(draw.choice(used.service.worker_pids()), signal.SIGKILL)
    return time.monotonic()


def kill_parent(used: Installation, _draw: Random) -> float:
    """Kill the parent of the workers alone; when they have gone, start the service again."""
    orphaned = used.service.worker_pids()
    used.service.kill_parent()
    deadline = time.monotonic() + ORPHANED_S_MAX
    while any(map(is_alive, orphaned)):
        assert time.monotonic() < deadline, "workers go on without their parent"
        time.sleep(0.05)
    over_at = time.monotonic()
    used.service.start()
    return over_at


def kill_service(used: Installation, _draw: Random) -> float:
    """Kill all processes of the service, and start it again."""
    used.service.kill()
    over_at = time.monotonic()
    used.service.start()
    return over_at


def kill_server(used: Installation, _draw: Random) -> float:
    """Kill PostgreSQL. Nobody starts it but the service."""
    os.kill(postmaster_pid(used.data), signal.SIGKILL)
    return time.monotonic()


def kill_both(used: Installation, draw: Random) -> float:
    """Kill PostgreSQL and the service, in either order, and start the service again."""
    server = postmaster_pid(used.data)
    kills = [lambda: os.kill(server, signal.SIGKILL), used.service.kill]
    for kill in draw.sample(kills, 2):
        kill()
    over_at = time.monotonic()
    used.service.start()
    return over_at


def end_backends(used: Installation, _draw: Random) -> float:
    """End every connection of the service to PostgreSQL."""
    with connect(used.data) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
        )
    return time.monotonic()


def pause_server(used: Installation, draw: Random) -> float:
    """Stop all processes of PostgreSQL for some seconds, as a disk does that does not answer."""
    server = postmaster_pid(used.data)
    os.kill(server, signal.SIGSTOP)
    stopped = [server, *children_of(server)]
    try:
        for pid in stopped[1:]:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGSTOP)
        time.sleep(draw.uniform(*PAUSE_S))
    finally:
        for pid in stopped:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGCONT)
    return time.monotonic()


def restart_in_backup(used: Installation, draw: Random) -> float:
    """End the service, as a user does, in the middle of a backup, and start it again."""
    folder = used.data.parent / f"backup-{len(used.backups)}"
    with tempfile.TemporaryFile() as output:
        backup = subprocess.Popen(
            [*COMMAND, "backup", str(folder)],
            env=environ_of(used.data),
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        with suppress(subprocess.TimeoutExpired):
            backup.wait(draw.uniform(0, INTO_BACKUP_S_MAX))
        used.service.end()
        over_at = time.monotonic()
        used.service.start()
        ended = backup.wait(BACKUP_S_MAX)
        output.seek(0)
        assert ended == 0, output.read().decode()
    used.backups.append(folder)
    return over_at


def fill_disk(used: Installation, draw: Random) -> float:
    """Leave no byte on the disk for some seconds. Only on a disk of its own (`small_disk`)."""
    assert os.path.ismount(used.data), "this would fill the disk of the machine"
    filler = used.data / "filler"
    until = time.monotonic() + draw.uniform(*FULL_S)
    try:
        with filler.open("wb") as file:
            while time.monotonic() < until:  # what PostgreSQL gives back is taken too
                disk = os.statvfs(used.data)
                with suppress(OSError):
                    os.posix_fallocate(
                        file.fileno(), file.tell(), free := disk.f_bavail * disk.f_frsize
                    )
                    file.seek(free, os.SEEK_CUR)
                time.sleep(0.05)
    finally:
        filler.unlink(missing_ok=True)
    return time.monotonic()


@contextmanager
def small_disk(data: Path) -> Iterator[bool]:
    """A small disk at the data folder; False where this user may not mount one."""
    data.mkdir(mode=0o711)
    options = f"size={DISK_BYTES},mode=0711"
    words = ["mount", "-t", "tmpfs", "-o", options, "retake-ledger-test", str(data)]
    mounted = (
        which("mount") is not None
        and subprocess.run(words, capture_output=True, check=False).returncode == 0
    )
    try:
        yield mounted
    finally:
        if mounted:
            stop(data)
            subprocess.run(["umount", str(data)], check=True)


FAULTS: dict[str, Fault] = {
    "a worker killed": kill_worker,
    "the parent of the workers killed": kill_parent,
    "the service killed": kill_service,
    "PostgreSQL killed": kill_server,
    "service and PostgreSQL killed": kill_both,
    "connections to PostgreSQL ended": end_backends,
    "PostgreSQL paused": pause_server,
    "a restart in the middle of a backup": restart_in_backup,
}
FULL_DISK = "the disk full"
