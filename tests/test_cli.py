"""Commands that stand in no file of their own, as they are typed."""

import re
import socket
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import Engine, text
from sqlalchemy.engine import make_url

from service.cli import main
from service.projections import rows
from service.projections.rebuilding import rebuild
from service.projections.stretches import Here, Walkers, walk_stretch
from service.projections.walking import Walker
from tests import recording
from tests.conftest import Database
from tests.projections.logs import NAME, LogEntry, entries_at_random, is_free, record
from tests.projections.test_stretches import Inline
from tests.projections.test_walking import build, over, stored, studio_of, wanted
from tests.serving import free_port
from tests.waiting import wait_until


def rebuilt(*words: str, studio: str = NAME) -> Result:
    return CliRunner().invoke(main, ["rebuild", "--studio", studio, *words])


@pytest.fixture
def entries(
    engine: Engine, database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> list[LogEntry]:
    """What is recorded in a studio of the database that commands find configured."""
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "keys"))
    recording.make(engine)
    entries = entries_at_random(5)
    record(engine, entries)
    return entries


def test_a_trail_is_built_again(engine: Engine, entries: list[LogEntry]) -> None:
    result = rebuilt()
    assert result.exit_code == 0, result.output
    assert stored(engine) == wanted(over(entries))
    assert f"{len(stored(engine))} rows of {len(over(entries))} events in " in result.output
    assert (
        f"{len(entries) - len(over(entries))} events of a minute that is not over" in result.output
    )


def test_a_studio_that_is_not_there(entries: list[LogEntry]) -> None:
    result = rebuilt(studio="nobody")
    assert (result.exit_code, "there is no studio nobody; make it first" in result.output) == (
        1,
        True,
    )
    assert rebuilt("--processes", "0").exit_code == 2


@pytest.mark.parametrize("words", [["studio", "list"], ["migrate"], ["stop"]])
def test_where_the_embedded_server_cannot_be_had_a_command_says_why(
    words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("RETAKE_LEDGER_DATABASE_URL", raising=False)
    monkeypatch.setenv("RETAKE_LEDGER_DATA", "/" + "d" * 120)
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 1
    assert re.match(
        r"Error: /d+: the path is \d+ bytes too long .* RETAKE_LEDGER_DATA", result.output
    )


def test_a_demo_on_a_port_that_is_taken_says_so_before_anything_is_made(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        result = CliRunner().invoke(main, ["demo", "--port", str(port)])
    assert result.exit_code == 1
    assert result.output == f"Error: port {port} is taken; name another with --port\n"
    assert CliRunner().invoke(main, ["studio", "list"]).output == ""


class Breaking(Inline):
    """Its process ends while it walks the third stretch."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Any:
        if len(self.submitted) == 2:
            raise BrokenExecutor
        return super().submit(fn, *args, **kwargs)


def test_a_process_that_ends_is_reported_and_what_was_built_stands(
    engine: Engine, entries: list[LogEntry], monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def breaking(*_: object) -> Iterator[Walkers]:
        here = Here.of(studio_of(engine), engine)
        yield Walkers(Breaking(here), 1, partial(walk_stretch, here))

    rebuilding = partial(rebuild, stretch_events=6, start=breaking)
    monkeypatch.setattr("service.projections.rebuilding.rebuild", rebuilding)
    result = rebuilt("--processes", "2")
    assert result.exit_code == 1
    assert "say fewer with --processes" in result.output
    with engine.connect() as connection:
        at = rows.read_checkpoint(connection, NAME)
    wait_until(lambda: is_free(engine, NAME))
    assert 12 <= at.position < len(over(entries))
    assert stored(engine) == wanted(entries[: at.position])
    build(engine, Walker(studio_of(engine), engine))
    assert stored(engine) == wanted(over(entries))


@pytest.mark.parametrize("source", ["/desks/layout/", "/desks/../office", ""])
def test_a_token_for_a_source_without_a_clear_end_is_refused_with_the_remedy(
    source: str, engine: Engine, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    recording.make(engine)
    words = ["token", "issue", "--studio", recording.NAME, "--role", "office", "--name", "o"]
    result = CliRunner().invoke(main, [*words, "--source", source])
    assert result.exit_code == 2
    assert "--source" in result.output
    assert "cannot be owned" in " ".join(result.output.split())


@pytest.mark.parametrize(
    "words",
    [
        ["studio", "list"],
        ["backup", "kept"],
        ["serve", "--port", str(free_port())],
        ["mend", "--studio", "paper"],
    ],
    ids=lambda words: words[0],
)
@pytest.mark.parametrize("login", ["retake_ledger_owner", "passer_by"])
def test_a_database_that_was_not_migrated_is_reported_with_the_remedy(
    words: list[str],
    login: str,
    empty_database: Database,
    server_admin: Engine,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whether its tables are not there, or the login was not made a member of the role."""
    monkeypatch.chdir(tmp_path)
    url = make_url(empty_database.owner_url).set(username=login)
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", url.render_as_string(hide_password=False))
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "yes")
    with server_admin.connect() as connection:
        connection.execute(text("CREATE ROLE passer_by LOGIN"))
    result = CliRunner().invoke(main, words)
    with server_admin.connect() as connection:
        connection.execute(text("DROP ROLE passer_by"))
    assert result.exit_code == 1
    assert result.output.startswith("Error: the database")
    assert "run `retake-ledger migrate`" in result.output


def test_a_studio_is_not_made_under_a_name_that_is_none(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "keys"))
    result = CliRunner().invoke(main, ["studio", "make", "Paper Lantern"])
    assert result.exit_code == 1
    assert "such as paper-lantern" in result.output
    assert "--title" in result.output
    assert CliRunner().invoke(main, ["studio", "list"]).output == ""
