"""Faults while eight clients post and two read: kills, lost connections, pauses, a full disk.

For each kind installations of its own and a hundred rounds: in each the fault comes at a random
moment, drawn from a fixed seed, and the next one when all posts are answered again. After them a
reader that shares no code with the service holds the tables against what clients were told: nothing
acknowledged is lost or doubled, positions are dense, instants never go back, and the root computed
anew (RFC 6962, section 2.1) is that of every checkpoint that was signed meanwhile.
"""

import statistics
from collections.abc import Iterator
from contextlib import nullcontext
from random import Random

from tests.crash.faults import FAULTS, FULL_DISK, Fault, fill_disk, small_disk
from tests.crash.rounds import Outcome, run_rounds
from tests.serving import data_folder

ROUNDS = 100
ROUNDS_OF_ONE = 25
"""Of one installation: its log grows with each, and a backup or an import takes all of it."""
WRITERS, READERS = 8, 2
SEED = "2031-03-03"


FAILED, WRONG = "FAILED: ", "WRONG: "
"""How an outcome begins that fails the run, once all kinds are through."""


def attack(part: float) -> Iterator[tuple[str, str]]:
    """What each kind of fault came to."""
    rounds = max(1, round(ROUNDS * part))
    failed = []
    for kind, fault in [*FAULTS.items(), (FULL_DISK, fill_disk)]:
        outcome = _outcome(kind, fault, rounds)
        if outcome.startswith((FAILED, WRONG)):
            failed.append(kind)
        yield kind, outcome
    assert not failed, failed


def _outcome(kind: str, fault: Fault, rounds: int) -> str:
    outcome = Outcome()
    for first in range(0, rounds, ROUNDS_OF_ONE):
        numbers = range(first, min(rounds, first + ROUNDS_OF_ONE))
        faults = [(fault, Random(f"{SEED} {kind} {number}")) for number in numbers]
        disk = small_disk if kind == FULL_DISK else lambda _: nullcontext(True)
        with data_folder() as data, disk(data) as had:
            if not had:
                return "skipped: this user may not mount a disk of its own"
            draw = Random(f"{SEED} {kind} clients {first}")
            try:
                outcome += run_rounds(data, faults, draw, writers=WRITERS, readers=READERS)
            except AssertionError as error:
                return f"{FAILED}{error}"
    return _described(outcome)


def _described(outcome: Outcome) -> str:
    refused = ", ".join(f"{count} with {status}" for status, count in outcome.refused.items())
    return (
        f"{WRONG + '; '.join(outcome.wrong) if outcome.wrong else 'nothing lost or doubled'}; "
        f"{len(outcome.recoveries_s)} rounds, {outcome.acknowledged:,} events acknowledged, "
        f"{outcome.repeated:,} posts repeated ({outcome.recorded_before:,} events of them were "
        f"recorded before), {outcome.lost:,} requests lost, refused: {refused or 'none'}; "
        f"{outcome.read:,} reads; all posts answered again after "
        f"{statistics.median(outcome.recoveries_s):.1f} s in the median, "
        f"{max(outcome.recoveries_s):.1f} s at the longest"
    )
