"""The PostgreSQL server that comes along, so that a laptop needs no other.

Inside the data folder lie `postgresql/` (the cluster and the server's socket, mode 0700),
`server.lock`, `server.used` and `server.log`, and the server's programs where root has them in a
folder that the server's account may not pass. There is no TCP, and whoever can enter the cluster's
folder is its owner. It is started and stopped under the lock `server.lock`, so that any number of
processes may ask for it at once; who uses it shares `server.used`, so that none stops it meanwhile.
"""

import fcntl
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from importlib.metadata import version
from pathlib import Path

from sqlalchemy.engine import URL

from service.log.file_locks import HeldError, file_lock
from service.log.server_programs import (
    OWNER,
    PACKAGE,
    PORT,
    READY,
    REJECTING,
    EmbeddedServerError,
    Programs,
    copy_programs,
    is_alive,
    named_pid,
    programs_in,
)

__all__ = [
    "DATABASE", "EmbeddedServerError", "InUseError", "ensure_running", "is_running", "stop", "used",
]  # fmt: skip

DATABASE = "retake_ledger"

_SOCKET = f".s.PGSQL.{PORT}"
_SOCKET_PATH_BYTES_MAX = 103  # macOS has 104 with the closing NUL, Linux 108
_DEADLINE_S = 120.0
_POLL_S = 0.05
_LOG_BYTES_MAX = 8 * 1024 * 1024

# Into postgresql.conf when the cluster is made, where an installation may change them.
_TUNING = {
    "max_connections": "120",
    "shared_buffers": "96MB",
    "effective_cache_size": "512MB",
    "max_wal_size": "512MB",
    "max_parallel_workers_per_gather": "0",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
    "log_checkpoints": "off",
}
# On the command line at each start, where nothing overrides them. pg_ctl passes them through a
# shell, so no path may stand here: the socket's folder is the cluster, where the server runs.
_FIXED = (
    f"-p {PORT} -c listen_addresses= -c unix_socket_directories=. -c unix_socket_permissions=0700"
)
_HASTY = " -c fsync=off -c synchronous_commit=off -c full_page_writes=off"


def ensure_running(folder: Path, *, durable: bool = True) -> str:
    """Make, start or attach to the server in this data folder.

    Gives the SQLAlchemy URL of its owner. `durable` off is for tests: a crash of the machine
    may then lose the cluster. Raises `EmbeddedServerError`.
    """
    return _Server(folder).ensure_running(durable=durable)


class InUseError(EmbeddedServerError):
    """The server was left running, since others use it."""


@contextmanager
def used(folder: Path) -> Iterator[None]:
    """Keep `stop` from ending the server of this data folder, which need not run yet.

    That holds for the processes that are forked meanwhile too, until all have ended. Raises
    `EmbeddedServerError`.
    """
    server = _Server(folder)
    server.make_folder()
    with server.locked("server.used", fcntl.LOCK_SH):
        yield


def stop(folder: Path, *, unless_used_s: float | None = None) -> bool:
    """End the server of this data folder; False if none was running.

    With `unless_used_s`, InUseError is raised instead where others use it for so long. Raises
    `EmbeddedServerError` where it does not end.
    """
    return _Server(folder).stop(unless_used_s)


def is_running(folder: Path) -> bool:
    """Whether a server of this data folder accepts connections."""
    return _Server(folder).programs.probe() == READY


class _Server:
    def __init__(self, folder: Path) -> None:
        self.folder = folder.absolute()
        self.cluster = self.folder / "postgresql"
        self.programs = Programs(self.cluster)
        length_bytes = len(os.fsencode(self.cluster / _SOCKET))
        if length_bytes > _SOCKET_PATH_BYTES_MAX:
            over_bytes = length_bytes - _SOCKET_PATH_BYTES_MAX
            raise EmbeddedServerError(
                f"{self.folder}: the path is {over_bytes} bytes too long for a socket in it; "
                "set RETAKE_LEDGER_DATA to a shorter one"
            )

    def ensure_running(self, *, durable: bool) -> str:
        if self.programs.probe() != READY:
            self._check_reachable()
        self.make_folder()
        with self.locked("server.lock"):
            self._bring_programs()
            if not self._wait_until_decided():
                if not self.cluster.is_dir() or not any(self.cluster.iterdir()):
                    self._make_cluster(durable=durable)
                self._check_version()
                self._start(durable=durable)
        return self._url()

    def stop(self, unless_used_s: float | None = None) -> bool:
        try:
            if not self.cluster.is_dir():
                return False
        except OSError as error:
            raise _unusable(self.cluster, error) from error
        # in the order of those who use it, so that none waits for the other
        with self._unused(unless_used_s), self.locked("server.lock"):
            self._bring_programs()
            if not self._wait_until_decided():
                return False
            pid = named_pid(self.cluster / "postmaster.pid")
            if pid is None or not self.programs.is_ours(pid):
                raise EmbeddedServerError(
                    f"{self.cluster}: a server answers but postmaster.pid does not name it; "
                    "end it by hand"
                )
            # Fast: clients that are still connected do not hold it up.
            done = self.programs.run(
                "pg_ctl", "stop", "-m", "fast", "-w", "-t", str(int(_DEADLINE_S))
            )
            if done.returncode != 0:
                raise EmbeddedServerError(f"the server did not stop: {done.stdout.strip()}")
            return True

    @contextmanager
    def _unused(self, within_s: float | None) -> Iterator[None]:
        """Nobody begins to use the server meanwhile; InUseError where others do not leave in time.

        None asks nobody.
        """
        if within_s is None:
            yield
            return
        with ExitStack() as held:
            try:
                held.enter_context(self.locked("server.used", within_s=within_s))
            except HeldError as error:
                raise InUseError(
                    f"{self.folder}: a service or a command still uses the server; end that first"
                ) from error
            yield

    def _url(self) -> str:
        return URL.create(
            "postgresql+psycopg",
            username=OWNER,
            database=DATABASE,
            query={"host": str(self.cluster), "port": str(PORT)},
        ).render_as_string(hide_password=False)

    def _wait_until_decided(self) -> bool:
        """Whether a server lives, once it is neither starting nor stopping."""
        deadline = time.monotonic() + _DEADLINE_S
        while (answer := self.programs.probe()) == REJECTING:
            if time.monotonic() > deadline:
                raise EmbeddedServerError(f"the server is neither up nor down{self._log_tail()}")
            time.sleep(_POLL_S)
        return answer == READY

    @contextmanager
    def locked(
        self, name: str, kind: int = fcntl.LOCK_EX, within_s: float = 2 * _DEADLINE_S
    ) -> Iterator[None]:
        """Hold a lock of the data folder."""
        path = self.folder / name
        with ExitStack() as held:
            try:
                held.enter_context(file_lock(path, kind, within_s))
            except OSError as error:
                raise _unusable(path, error) from error
            yield

    def make_folder(self) -> None:
        """Make the data folder where it is not there."""
        try:
            self.folder.mkdir(mode=0o700, parents=True)
        except FileExistsError:
            if not self.folder.is_dir():
                raise EmbeddedServerError(f"{self.folder}: not a folder") from None
            return
        except OSError as error:
            raise _unusable(self.folder, error) from error
        if os.geteuid() == 0:
            # It stays root's, and the server's account may pass it to reach the cluster.
            self.folder.chmod(0o711)

    def _check_reachable(self) -> None:
        """Refuse a folder that the server's account cannot pass, naming the first closed one."""
        closed = self._first_closed(self.folder)
        if closed:
            name = account.pw_name if (account := self.programs.account()) else ""
            raise EmbeddedServerError(
                f"{closed}: closed to the user {name}, as whom root runs the server; set "
                "RETAKE_LEDGER_DATA to a folder under, say, /var/lib, or open it with chmod o+x, "
                "or run as an ordinary user"
            )

    def _first_closed(self, wanted: Path) -> str:
        """The first folder on the way that the server's account may not pass; "" if none."""
        if self.programs.account() is None:
            return ""
        script = 'for passed; do test -x "$passed" || { printf %s "$passed"; exit 1; }; done'
        passed = (path for path in (*reversed(wanted.parents), wanted) if path.exists())
        return self.programs.run("/bin/sh", "-c", script, "sh", *passed).stdout

    def _bring_programs(self) -> None:
        """Copy the programs beside the data where the server's account cannot reach them."""
        if not self._first_closed(self.programs.folder):
            return
        brought = self.folder / f"programs-{version(PACKAGE)}"
        if not brought.is_dir():
            making = self.folder / "programs.making"
            shutil.rmtree(making, ignore_errors=True)
            copy_programs(self.programs.folder, making)
            for path in (making, *making.rglob("*")):
                if not path.is_symlink():
                    path.chmod(0o755 if path.is_dir() or os.access(path, os.X_OK) else 0o644)
            making.rename(brought)
        self.programs.folder = programs_in(brought)

    def _make_cluster(self, *, durable: bool) -> None:
        """Make the cluster beside its place, then rename: one made by half is never met."""
        making = self.folder / "postgresql.making"
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(mode=0o700)
        account = self.programs.account()
        if account is not None:
            os.chown(making, account.pw_uid, account.pw_gid)
        locale = ("--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--locale=C")
        access = ("--auth-local=trust", "--auth-host=reject", f"--username={OWNER}")
        tuning = (f"--set={name}={value}" for name, value in _TUNING.items())
        sync = () if durable else ("--no-sync",)
        made = self.programs.run(
            "initdb", "--encoding=UTF8", *locale, *access, *tuning, *sync, cluster=making
        )
        if made.returncode != 0:
            raise EmbeddedServerError(f"initdb failed: {made.stdout.strip()}")
        # In single-user mode, so that a cluster never stands without its database.
        statement = f"CREATE DATABASE {DATABASE}\n"
        made = self.programs.run(
            "postgres", "--single", "template1", stdin=statement, cluster=making
        )
        if made.returncode != 0 or "ERROR" in made.stdout:
            raise EmbeddedServerError(f"the database was not made: {made.stdout.strip()}")
        making.rename(self.cluster)

    def _check_version(self) -> None:
        """Never run another major version's binaries on a cluster."""
        try:
            made_by = (self.cluster / "PG_VERSION").read_text().strip()
        except FileNotFoundError:
            raise EmbeddedServerError(
                f"{self.cluster}: holds files but no PostgreSQL cluster; move it away"
            ) from None
        answer = self.programs.run("postgres", "--version").stdout
        brought = answer.split()[-1].split(".")[0] if answer.split() else answer
        if made_by != brought:
            raise EmbeddedServerError(
                f"{self.cluster} was made by PostgreSQL {made_by} and this release brings "
                f"{brought}: dump it with the release that made it (pg_dump), set "
                "RETAKE_LEDGER_DATA to a new folder, and restore the dump there"
            )

    def _start(self, *, durable: bool) -> None:
        """Start the server, again and again within a deadline.

        Right after a kill the old server's children may still hold its shared memory.
        """
        log = self.folder / "server.log"
        if log.exists() and log.stat().st_size > _LOG_BYTES_MAX:
            log.replace(log.with_suffix(".log.old"))
        options = _FIXED if durable else _FIXED + _HASTY
        waiting = ("-w", "-t", str(int(_DEADLINE_S)))
        deadline = time.monotonic() + _DEADLINE_S
        while True:
            self._clear_foreign_pid_files()
            with open(log, "ab", opener=_open_private) as output:
                self.programs.run("pg_ctl", "start", *waiting, "-o", options, output=output)
            if self._wait_until_decided():
                return
            if time.monotonic() > deadline:
                raise EmbeddedServerError(f"the server does not start{self._log_tail()}")
            time.sleep(4 * _POLL_S)

    def _clear_foreign_pid_files(self) -> None:
        """Remove pid files that are empty or name somebody else's process.

        PostgreSQL clears one whose process is gone, but refuses to start over these. The
        process is left alone, whatever it is. One of this cluster's is waited for.
        """
        for path in (self.cluster / "postmaster.pid", self.cluster / f"{_SOCKET}.lock"):
            pid = named_pid(path)
            if pid is None or (is_alive(pid) and not self.programs.is_ours(pid)):
                path.unlink(missing_ok=True)

    def _log_tail(self) -> str:
        try:
            lines = (self.folder / "server.log").read_text(errors="replace").splitlines()
        except OSError:
            return ""
        return "; the end of server.log:\n" + "\n".join(lines[-8:])


def _unusable(path: Path, error: OSError) -> EmbeddedServerError:
    """What is said of a file or folder of the data that cannot be used."""
    return EmbeddedServerError(
        f"{path}: {error.strerror}; set RETAKE_LEDGER_DATA to a folder that you may write to"
    )


def _open_private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
