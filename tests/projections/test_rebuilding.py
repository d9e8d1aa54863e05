"""Building a trail again: the same rows, whoever builds meanwhile."""

import io
import multiprocessing
import threading
import time
from contextlib import AbstractContextManager
from typing import Any

from rich.console import Console
from sqlalchemy import Engine

from service.projections import rows
from service.projections.rebuilding import rebuild
from service.projections.stretches import Walkers, walkers
from service.projections.walking import Walker
from service.settings import Settings
from tests import recording
from tests.projections.logs import NAME, entries_at_random, record
from tests.projections.test_walking import build, over, stored, studio_of, wanted

SETTINGS = Settings.from_environment({"HOME": "/"})


def test_it_gives_the_rows_that_were_there(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(4)
    record(engine, entries)
    build(engine, Walker(studio_of(engine), engine))
    live = stored(engine)
    printed = io.StringIO()
    rebuilt = rebuild(engine, NAME, SETTINGS, Console(file=printed, force_terminal=True, width=120))
    assert stored(engine) == live == wanted(over(entries))
    assert rebuilt[:3] == (len(live), over(entries)[-1][0].position, len(entries))
    assert "building the trail" in printed.getvalue()


def test_it_waits_for_whoever_builds(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(4)
    record(engine, entries)
    with engine.connect() as connection:
        assert rows.try_lock(connection, NAME)
        waiting = threading.Thread(
            target=rebuild,
            args=(engine, NAME, SETTINGS, Console(file=io.StringIO())),
            daemon=True,
        )
        waiting.start()
        time.sleep(0.3)
        assert stored(engine) == []
        rows.unlock(connection, NAME)
    waiting.join(30)
    assert stored(engine) == wanted(over(entries))


def test_processes_side_by_side_give_the_same(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(5)
    record(engine, entries)
    walked_apart: list[str] = []

    def counted(*args: Any) -> AbstractContextManager[Walkers]:
        walked_apart.append(args[0])
        return walkers(*args)

    rebuilt = rebuild(
        *(engine, NAME, SETTINGS, Console(file=io.StringIO())),
        processes=2,
        stretch_events=6,
        start=counted,
    )
    assert walked_apart == [NAME]
    assert stored(engine) == wanted(over(entries))
    assert rebuilt[:3] == (len(stored(engine)), over(entries)[-1][0].position, len(entries))
    assert multiprocessing.active_children() == []
