"""Extreme but valid posts in thousands of short stories, and every address read after each.

A story is numbered by its seed, from 0 on, and the same seed gives the same story: `run_story` of
`tests/web/extreme_stories.py` takes it. Each has a studio of its own; a process runs a stretch of
them in one database, which it drops afterwards. Set NUMBA_BOUNDSCHECK=1 to have every access of the
compiled kernels checked meanwhile.
"""

import logging
import multiprocessing
import os
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from service.keys import ensure_keys
from service.log.embedded import ensure_running
from service.vocabulary.facts import CATALOGUE
from tests.fresh import fresh_database
from tests.serving import data_folder, memory_disk
from tests.web.extreme_stories import Outcome, run_story
from tests.web.paper import another_worker

STORIES = 50_000
AT_ONCE = 25
"""How many stories are recorded in one database, by one app."""


def attack(part: float) -> Iterator[tuple[str, str]]:
    """What was posted and read, by status, and each answer that was a fault; fails if any was."""
    count = max(1, round(STORIES * part))
    began = time.monotonic()
    outcome = Outcome()
    with data_folder(memory_disk()) as data, tempfile.TemporaryDirectory() as folder:
        url = ensure_running(data, durable=False)
        keys = Path(folder) / "keys"
        ensure_keys(keys)
        # a process that was forked would share the connections of this one
        spawn = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(os.cpu_count(), mp_context=spawn) as processes:
            stretches = [
                processes.submit(_outcome_of, url, keys, first, min(count, first + AT_ONCE))
                for first in range(0, count, AT_ONCE)
            ]
            try:
                for stretch in as_completed(stretches):
                    outcome.add(stretch.result())
            finally:  # else those that wait would still be run
                processes.shutdown(cancel_futures=True)
    yield from _figures(count, time.monotonic() - began, outcome)
    for fault in sorted(outcome.faults):
        yield "fault", fault
    if outcome.faults:
        raise SystemExit(f"{len(outcome.faults)} answers were faults of the service")


def _outcome_of(url: str, keys: Path, first: int, end: int) -> Outcome:
    """The stories of some seeds, in one database. Runs in a process of its own."""
    logging.disable(logging.CRITICAL)  # faults are reported by their seeds
    outcome = Outcome()
    with fresh_database(url, f"stories_{first}") as (engine, _):
        app = another_worker(engine, keys)
        for seed in range(first, end):
            outcome.add(run_story(engine, seed, app))
    return outcome


def _figures(count: int, took_s: float, outcome: Outcome) -> Iterator[tuple[str, str]]:
    checked = (
        "bounds checked" if os.environ.get("NUMBA_BOUNDSCHECK") == "1" else "bounds not checked"
    )
    yield "stories", f"{count:,} in {took_s:,.0f} s, {took_s / count:.2f} s each; {checked}"
    yield "posts by status", _counts(outcome.posts)
    yield "questions by status", _counts(outcome.questions)
    yield "reads by status", _counts(outcome.gets)
    never = [type_ for type_ in CATALOGUE if not outcome.recorded[type_]]
    yield "events recorded", f"{outcome.recorded.total():,}; of no event: {_words(never)}"
    yield "the slowest read", f"{outcome.slowest[0]:.2f} s: {outcome.slowest[1]}"


def _counts(counts: Counter[Any]) -> str:
    return ", ".join(f"{status}: {number:,}" for status, number in sorted(counts.items()))


def _words(words: Iterable[str]) -> str:
    return ", ".join(words) or "none"
