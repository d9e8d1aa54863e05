"""Stretches of a log walked by themselves: joined, they are the rows of one walk."""

import os
import subprocess
import sys
from concurrent.futures import Executor, Future
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import pytest
from sqlalchemy import Engine

from service.log.append import read_head
from service.planning.compare.trail import DateMove
from service.projections.rows import NOTHING
from service.projections.stretches import Here, Stretch, Walkers, stretches, walk_stretch
from service.projections.walking import over_min
from service.vocabulary.instants import US_PER_MIN
from tests import recording
from tests.production.random_logs import tell_at_random
from tests.projections.logs import (
    NAME,
    LogEntry,
    entries_at_random,
    entries_of,
    office_story,
    record,
)
from tests.projections.test_walking import in_order, over, studio_of, wanted
from tests.telling import OFFICE
from tests.waiting import wait_until

SEEDS = (1, 2, 3)
LENGTHS = (7, 20)


class Inline(Executor):
    """Walks in this process, at once; remembers the arguments of each walk."""

    def __init__(self, here: Here) -> None:
        self.here = here
        self.submitted: list[tuple[Any, ...]] = []

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.submitted.append(args)
        done: Future[Any] = Future()
        done.set_result(fn(*args, **kwargs))
        return done


@pytest.fixture
def inline(engine: Engine) -> Inline:
    """This process as the one that walks."""
    return Inline(Here.of(studio_of(engine), engine))


@pytest.fixture(params=LENGTHS)
def length(request: pytest.FixtureRequest) -> int:
    """How many events a stretch has at least."""
    events: int = request.param
    return events


@pytest.fixture(params=SEEDS)
def cut(
    request: pytest.FixtureRequest, engine: Engine, length: int
) -> tuple[list[LogEntry], list[Stretch]]:
    """A random log that is recorded, and its stretches."""
    recording.make(engine)
    entries = entries_at_random(request.param)
    record(engine, entries)
    return entries, listed(engine, length)


def listed(engine: Engine, length: int) -> list[Stretch]:
    with engine.connect() as connection:
        head = read_head(connection, NAME)
        bound_min = over_min(studio_of(engine), head)
        return list(stretches(connection, NAME, NOTHING, head.position, bound_min, length))


def joined(inline: Inline, listed: list[Stretch]) -> list[DateMove]:
    inline.here.studio.view()  # strikes are known
    walkers = Walkers(inline, 3, partial(walk_stretch, inline.here))
    return [move for _, moves in walkers.joined(listed, {}) for move in moves]


def until(entries: list[LogEntry], stretch: Stretch) -> list[LogEntry]:
    return entries[: stretch.until.position]


def test_joined_they_are_the_rows_of_one_walk(
    inline: Inline, cut: tuple[list[LogEntry], list[Stretch]]
) -> None:
    entries, found = cut
    assert len(found) > 1
    assert in_order(joined(inline, found)) == wanted(until(entries, found[-1]))


def test_they_are_whole_minutes_that_are_over_and_leave_no_gap(
    cut: tuple[list[LogEntry], list[Stretch]], length: int
) -> None:
    entries, found = cut
    ends = [stretch.until for stretch in found]
    assert [stretch.after for stretch in found] == [NOTHING, *ends[:-1]]
    minutes = [event.recorded_us // US_PER_MIN for event, _ in entries]
    for end in ends:
        assert minutes[end.position - 1] == end.at_min < minutes[end.position]
    assert ends[-1].position <= len(over(entries)) < ends[-1].position + 2 * length
    lengths = [stretch.until.position - stretch.after.position for stretch in found]
    assert min(lengths) >= length


def test_one_that_went_on_from_other_dates_is_walked_again(engine: Engine, inline: Inline) -> None:
    # given an episode whose scenes were listed, and all those listings struck
    recording.make(engine)
    story = office_story()
    for event in story.events[:]:
        if event.fact.TYPE == "scene.listed" and event.subject.startswith("KESTREL-1/"):
            slip = {"position": event.position, "why": "a slip"}
            story.record(story.event("event.struck", "studio", slip), actor=OFFICE)
    struck_at = len(story.events)
    for number in range(100):
        tell_at_random(story, [number])
    entries = entries_of(story, Random(1))
    record(engine, entries)
    found = listed(engine, struck_at // 2 + 1)
    moves = joined(inline, found)
    again = [args for args in inline.submitted if len(args) == 2]
    assert again
    assert in_order(moves) == wanted(until(entries, found[-1]))


_PARENT = """
import os, sys
from sqlalchemy import create_engine
from service.projections.stretches import Walkers, walkers
from service.settings import Settings

if __name__ == "__main__":
    settings = Settings.from_environment({"HOME": "/"})
    with walkers("paper", create_engine(sys.argv[1]), settings, 1) as walking:
        print(walking.pool.submit(os.getpid).result(), flush=True)
        sys.stdin.read()
"""


def test_walking_processes_end_with_who_started_them(engine: Engine, tmp_path: Path) -> None:
    recording.make(engine)
    program = tmp_path / "parent.py"
    program.write_text(_PARENT)
    url = engine.url.render_as_string(hide_password=False)
    with subprocess.Popen(
        [sys.executable, program, url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as parent:
        assert parent.stdout is not None
        walking = int(parent.stdout.readline())
        os.kill(walking, 0)
        parent.kill()
    wait_until(lambda: not _lives(walking), "it goes on by itself")


def _lives(process: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{process}/status").read_text()
    except FileNotFoundError:
        return False
