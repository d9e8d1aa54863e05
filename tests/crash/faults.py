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
from email.utils import parsedate_to_datetime
from pathlib import Path
from random import Random
from shutil import which
from typing import IO, NamedTuple

import httpx
import psycopg
from psycopg import sql

from service.log.embedded import ensure_running, stop
from tests.crash.clock import Clock
from tests.crash.independent import connect
from tests.serving import (
    COMMAND,
    Service,
    children_of,
    command,
    environ_of,
    is_alive,
    postmaster_pid,
)
from tests.waiting import wait_until

PAUSE_S = (1.0, 4.0)
FULL_S = (1.0, 3.0)
DISK_BYTES = 1 << 30
COMMAND_S_MAX = 120
INTO_COMMAND_S_MAX = 3.0
ORPHANED_S_MAX = 60
BLOCKED_S_MAX = 60
BACK_S = (2.0, 3600.0)
DATE_S, STAMPED_S = 1.0, 1.5
"""As finely as the header `Date` tells the time, and how long it may be behind."""
IMPORT_TRIES = 5

MIGRATED = ("snapshot", "head", "token")
"""What the last migration waits for where somebody else reads it, a table after the other."""
_UNMIGRATED = (
    "DROP TRIGGER token_stays_revoked ON token",
    "DROP FUNCTION refuse_reviving()",
    "ALTER TABLE head DROP COLUMN clock_seal",
    "ALTER TABLE snapshot DROP COLUMN digest, DROP COLUMN seal",
    "GRANT UPDATE ON head, projection TO retake_ledger_service",
    "UPDATE alembic_version SET version_num = '0005'",
)
"""Back to what was before the last migration, as its owner does."""
_BLOCKED = "SELECT count(*) FROM pg_locks WHERE NOT granted"


class Import(NamedTuple):
    """An export of the studio, and the studio that was made of it."""

    folder: Path
    studio: str


class Installation:
    """A service with its data folder, and with a clock of its own where it was given one.

    What backups of it say is kept in `backups`, what was exported and imported in `imports`.
    """

    def __init__(self, data: Path, service: Service, clock: Clock | None = None) -> None:
        self.data, self.service, self.clock = data, service, clock
        self.backups: list[Path] = []
        self.imports: list[Import] = []


Fault = Callable[[Installation, Random], float]


def kill_worker(used: Installation, draw: Random) -> float:
    """Kill one worker."""
    os.kill(draw.choice(used.service.child_pids()), signal.SIGKILL)
    return time.monotonic()


def kill_parent(used: Installation, _draw: Random) -> float:
    """Kill the parent of the workers alone; when they have gone, start the service again."""
    orphaned = used.service.child_pids()
    used.service.kill_parent()
    wait_until(
        lambda: not any(map(is_alive, orphaned)),
        "workers go on without their parent",
        ORPHANED_S_MAX,
    )
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
    for kill in draw.sample(_kills(used), 2):
        kill()
    over_at = time.monotonic()
    used.service.start()
    return over_at


def _kills(used: Installation) -> list[Callable[[], None]]:
    """How to kill the service, and how PostgreSQL."""
    server = postmaster_pid(used.data)
    return [used.service.kill, lambda: os.kill(server, signal.SIGKILL)]


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
    with _begun(used, "backup", str(folder)) as (backup, output):
        with suppress(subprocess.TimeoutExpired):
            backup.wait(draw.uniform(0, INTO_COMMAND_S_MAX))
        over_at = _restart(used)
        assert backup.wait(COMMAND_S_MAX) == 0, _all_of(output)
    used.backups.append(folder)
    return over_at


def restart_in_import(used: Installation, draw: Random) -> float:
    """End the service, PostgreSQL or the import itself while an export is imported.

    The import is repeated until it is done or has been done.
    """
    number = len(used.imports)
    found = Import(used.data.parent / f"export-{number}", f"imported-{number}")
    command(used.data, "export", "--studio", "paper", "--personal", str(found.folder))
    words = ("import", str(found.folder), "--studio", found.studio)
    with _begun(used, *words) as (importing, output):
        with suppress(subprocess.TimeoutExpired):
            importing.wait(draw.uniform(0, INTO_COMMAND_S_MAX))
        server = postmaster_pid(used.data)
        over_at = draw.choice(
            (
                lambda: _restart(used),
                lambda: _killed(server),
                lambda: _killed(importing.pid),
            )
        )()
        importing.wait(COMMAND_S_MAX)
        printed = _all_of(output)
        assert "Traceback" not in printed, printed
    for _ in range(IMPORT_TRIES):
        with _begun(used, *words) as (importing, output):
            if importing.wait(COMMAND_S_MAX) == 0 or "made already" in (printed := _all_of(output)):
                break
            assert "Traceback" not in printed, printed
    else:
        raise AssertionError(f"it is not imported: {printed}")
    used.imports.append(found)
    return over_at


def restart_in_migration(used: Installation, draw: Random) -> float:
    """Kill the service, or PostgreSQL too, in the middle of the migration that a start begins with.

    The tables are taken back to what they were before the last migration; it waits for one of them
    when it is killed. The next start has to do it again.
    """
    used.service.end()
    ensure_running(used.data)  # the service stops one that it started
    with connect(used.data) as connection, connection.transaction():
        for statement in _UNMIGRATED:
            connection.execute(statement)
    kills = _kills(used)
    chosen = draw.choice((kills[:1], kills, kills[::-1]))
    held = draw.choice(MIGRATED)
    with suppress(psycopg.OperationalError), connect(used.data) as holder, holder.transaction():
        holder.execute(sql.SQL("LOCK TABLE {} IN SHARE MODE").format(sql.Identifier(held)))
        used.service.start()
        _wait_until_blocked(used.data)
        for kill in chosen:
            kill()
    over_at = time.monotonic()
    used.service.start()
    return over_at


def _wait_until_blocked(data: Path) -> None:
    with connect(data) as connection:
        wait_until(
            lambda: connection.execute(_BLOCKED).fetchone() != (0,),
            "no migration waits for the table",
            BLOCKED_S_MAX,
        )


def set_clock_back(used: Installation, draw: Random) -> float:
    """Set the clock of the service's processes back by up to an hour, and right again."""
    assert used.clock is not None, "the service was not given a clock"
    by_s = draw.uniform(*BACK_S)
    used.clock.set_back(by_s)
    try:
        since = time.monotonic()
        time.sleep(STAMPED_S)
        answer = httpx.get(f"{used.service.url}/live", timeout=COMMAND_S_MAX)
        shown_s = parsedate_to_datetime(answer.headers["Date"]).timestamp()
        assert shown_s < time.time() - by_s + DATE_S, "its clock was not set back"
        time.sleep(draw.uniform(*PAUSE_S))
    finally:
        used.clock.set_back(0)
    return since


def _restart(used: Installation) -> float:
    used.service.end()
    over_at = time.monotonic()
    used.service.start()
    return over_at


def _killed(pid: int) -> float:
    with suppress(ProcessLookupError):  # it has ended already
        os.kill(pid, signal.SIGKILL)
    return time.monotonic()


@contextmanager
def _begun(
    used: Installation, *words: str
) -> Iterator[tuple["subprocess.Popen[bytes]", IO[bytes]]]:
    """A command of the installation that runs, and what it says."""
    with tempfile.TemporaryFile() as output:
        yield (
            subprocess.Popen(
                [*COMMAND, *words],
                env=environ_of(used.data),
                stdout=output,
                stderr=subprocess.STDOUT,
            ),
            output,
        )


def _all_of(output: IO[bytes]) -> str:
    output.seek(0)
    return output.read().decode()


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
    "an end in the middle of an import": restart_in_import,
    "a kill in the middle of a migration": restart_in_migration,
    "the clock set back": set_clock_back,
}
FULL_DISK = "the disk full"
