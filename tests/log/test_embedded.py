"""The embedded server: started by many, killed, and never acting on somebody else's process."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from threading import Thread, Timer
from typing import Any

import psycopg
import pytest
from sqlalchemy import NullPool, create_engine, text
from sqlalchemy.engine import make_url

from service.log.embedded import (
    EmbeddedServerError,
    InUseError,
    ensure_running,
    is_running,
    stop,
    used,
)
from tests.log.embedding import ask, make_open_folder
from tests.places import TOP
from tests.serving import postmaster_pid

STARTING = "import sys, pathlib, service.log.embedded as e; "
STARTING += "print(e.ensure_running(pathlib.Path(sys.argv[1])))"


@pytest.fixture(scope="module")
def data() -> Iterator[Path]:
    folder = make_open_folder()
    yield folder / "data folder"  # with a space in it
    stop(folder / "data folder")
    shutil.rmtree(folder)


def kill_hard(data: Path) -> None:
    os.kill(postmaster_pid(data), signal.SIGKILL)


def test_cold_then_attach_then_stop_then_warm(data: Path) -> None:
    assert not is_running(data)
    assert not stop(data)
    url = ensure_running(data)
    assert is_running(data)
    first = postmaster_pid(data)
    ask(url, "CREATE TABLE kept AS SELECT 7 AS seven")
    assert ensure_running(data) == url
    assert postmaster_pid(data) == first
    assert stop(data)
    assert not is_running(data)
    assert not stop(data)
    assert ensure_running(data) == url
    assert ask(url, "SELECT seven FROM kept") == 7


def test_no_tcp_and_nobody_else_can_reach_the_socket(data: Path) -> None:
    url = ensure_running(data)
    assert ask(url, "SHOW listen_addresses") == ""
    assert ask(url, "SHOW fsync") == "on"
    assert (data / "postgresql").stat().st_mode & 0o777 == 0o700
    sockets = list(data.rglob(".s.PGSQL.*"))
    assert {path.parent for path in sockets} == {data / "postgresql"}
    assert (data / "server.log").stat().st_mode & 0o077 == 0


def test_the_text_order_is_that_of_code_points_on_every_machine(data: Path) -> None:
    url = ensure_running(data)
    assert ask(url, "SELECT 'B' < 'a' AND 'Z' < 'ä'")
    assert ask(url, "SELECT upper('é')") == "É"


def test_settings_of_the_environment_do_not_leak_in(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop(data)
    monkeypatch.setenv("PGPORT", "6543")
    monkeypatch.setenv("PGDATA", "/nonexistent")
    monkeypatch.setenv("PGOPTIONS", "-c nonsense=1")
    ensure_running(data)
    assert is_running(data)


def test_six_processes_at_once_share_one_server(parent: Path) -> None:
    data = parent / "shared"
    command = [sys.executable, "-c", STARTING, str(data)]
    processes = [
        subprocess.Popen(command, cwd=TOP, stdout=subprocess.PIPE, text=True) for _ in range(6)
    ]
    urls = {process.communicate(timeout=120)[0] for process in processes}
    assert [process.returncode for process in processes] == [0] * 6
    assert len(urls) == 1
    assert (data / "server.log").read_text().count("starting PostgreSQL") == 1


def test_killed_hard_it_is_up_again_at_once(data: Path) -> None:
    url = ensure_running(data)
    kill_hard(data)
    assert ensure_running(data) == url
    assert ask(url, "SELECT 1") == 1


def test_killed_in_mid_write_nothing_acknowledged_is_lost(data: Path) -> None:
    url = ensure_running(data)
    ask(url, "DROP TABLE IF EXISTS written")
    ask(url, "CREATE TABLE written (number bigint PRIMARY KEY)")
    acknowledged: list[int] = []

    def write() -> None:
        parts = make_url(url)
        try:
            with psycopg.connect(
                host=str(parts.query["host"]),
                user=parts.username,
                dbname=parts.database,
                autocommit=True,
            ) as connection:
                for number in range(1_000_000):
                    connection.execute("INSERT INTO written VALUES (%s)", [number])
                    acknowledged.append(number)
        except psycopg.OperationalError:
            return

    writer = Thread(target=write)
    writer.start()
    while len(acknowledged) < 200:
        assert writer.is_alive()
    kill_hard(data)
    ensure_running(data)
    writer.join(timeout=60)
    assert not writer.is_alive()
    kept = ask(url, "SELECT count(*) FROM written")
    assert kept in (len(acknowledged), len(acknowledged) + 1)


@pytest.mark.parametrize("name", ["postmaster.pid", ".s.PGSQL.5432.lock"])
def test_a_pid_file_naming_somebody_elses_process_is_removed_not_acted_on(
    data: Path, name: str
) -> None:
    url = ensure_running(data)
    stop(data)
    cluster = data / "postgresql"
    owner = cluster.stat()
    # Of the server's own user and in its own folder, so that only what it is tells it apart.
    # Where that is not root, it is already the one who runs the tests.
    user: dict[str, Any] = {"user": owner.st_uid, "group": owner.st_gid, "extra_groups": []}
    stranger = subprocess.Popen(
        ["sleep", "600"], cwd=cluster, **(user if os.geteuid() == 0 else {})
    )
    try:
        text = f"{stranger.pid}\n{cluster}\n1700000000\n5432\n{cluster}\n\n"
        (cluster / name).write_text(text)
        os.chown(cluster / name, owner.st_uid, owner.st_gid)
        assert not stop(data)
        assert ensure_running(data) == url
        assert stop(data)
        assert stranger.poll() is None
    finally:
        stranger.kill()
        stranger.wait()


def test_a_stop_is_refused_when_the_pid_file_names_somebody_else(data: Path) -> None:
    ensure_running(data)
    path = data / "postgresql/postmaster.pid"
    kept = path.read_text()
    stranger = subprocess.Popen(["sleep", "600"])
    try:
        path.write_text(re.sub(r"^\d+", str(stranger.pid), kept))
        with pytest.raises(EmbeddedServerError, match="does not name it"):
            stop(data)
        assert stranger.poll() is None
    finally:
        path.write_text(kept)
        stranger.kill()
        stranger.wait()
    assert stop(data)


@pytest.mark.parametrize("name", ["postmaster.pid", ".s.PGSQL.5432.lock"])
@pytest.mark.parametrize("text", ["", "no number\n", "99999999999999999999\n"])
def test_an_empty_or_senseless_pid_file_is_no_hindrance(data: Path, name: str, text: str) -> None:
    ensure_running(data)
    stop(data)
    (data / "postgresql" / name).write_text(text)
    ensure_running(data)
    assert is_running(data)


def test_a_cluster_made_by_half_is_made_anew(parent: Path) -> None:
    data = parent / "half"
    making = data / "postgresql.making"
    making.mkdir(parents=True)
    (making / "PG_VERSION").write_text("18\n")
    ensure_running(data, durable=False)
    assert is_running(data)
    assert not making.exists()


def test_another_major_version_is_refused_and_left_alone(data: Path) -> None:
    ensure_running(data)
    stop(data)
    version = data / "postgresql/PG_VERSION"
    kept = version.read_text()
    version.write_text("17\n")
    try:
        with pytest.raises(EmbeddedServerError, match=r"made by PostgreSQL 17 .*pg_dump"):
            ensure_running(data)
        assert not is_running(data)
    finally:
        version.write_text(kept)


def test_a_folder_of_other_things_is_refused_and_left_alone(parent: Path) -> None:
    data = parent / "other"
    (data / "postgresql").mkdir(parents=True)
    (data / "postgresql/letter.txt").write_text("dear")
    with pytest.raises(EmbeddedServerError, match="no PostgreSQL cluster; move it away"):
        ensure_running(data)
    assert (data / "postgresql/letter.txt").read_text() == "dear"


def test_a_path_too_long_for_a_socket_is_refused_with_the_remedy(parent: Path) -> None:
    data = parent / ("d" * 100)
    with pytest.raises(EmbeddedServerError, match=r"bytes too long .* RETAKE_LEDGER_DATA"):
        ensure_running(data)
    assert not data.exists()


def test_a_file_in_place_of_the_folder_is_refused(parent: Path) -> None:
    (parent / "file").write_text("x")
    with pytest.raises(EmbeddedServerError, match="file: "):
        ensure_running(parent / "file")
    (parent / "file").unlink()


def test_it_is_not_stopped_under_those_who_use_it(data: Path) -> None:
    with ExitStack() as using:
        using.enter_context(used(data))  # from before it runs, and without a connection
        ensure_running(data)
        with pytest.raises(InUseError, match="still uses the server; end that first"):
            stop(data, unless_used_s=0.1)
        assert is_running(data)
        leaving = Timer(0.3, using.close)
        leaving.start()
        assert stop(data, unless_used_s=10.0)
        leaving.join()
    assert not is_running(data)


def test_who_comes_while_it_is_stopped_has_one_that_runs(data: Path) -> None:
    with ThreadPoolExecutor() as threads:
        for wait_s in (0.0, 0.01, 0.1):
            ensure_running(data)
            stopped = threads.submit(stop, data, unless_used_s=10.0)
            time.sleep(wait_s)
            with used(data):
                engine = create_engine(ensure_running(data), poolclass=NullPool)
                for _ in range(20):
                    with engine.connect() as connection:
                        connection.execute(text("SELECT 1"))
                    time.sleep(0.01)
            assert stopped.result(timeout=20)
