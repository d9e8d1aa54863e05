"""Faults of three kinds while scripts post and read: the tables bear out all they were told."""

from pathlib import Path
from random import Random

from tests.crash.faults import end_backends, kill_both, kill_worker
from tests.crash.rounds import run_rounds

SEED = 19


def test_the_log_bears_out_what_clients_were_told(data: Path) -> None:
    draw = Random(SEED)
    faults = [(fault, draw) for fault in (end_backends, kill_worker, kill_both)]
    outcome = run_rounds(data, faults, draw, writers=4, readers=1)
    assert outcome.wrong == []
    assert outcome.refused.keys() <= {503}
    assert outcome.acknowledged
    assert outcome.read
