"""Faults of some kinds while scripts post and read: the tables bear out all they were told."""

from pathlib import Path
from random import Random

from tests.crash.faults import (
    end_backends,
    kill_both,
    kill_worker,
    restart_in_import,
    restart_in_migration,
    set_clock_back,
)
from tests.crash.rounds import run_rounds

SEED = 19


def test_the_log_bears_out_what_clients_were_told(data: Path) -> None:
    draw = Random(SEED)
    kinds = (end_backends, kill_worker, kill_both, set_clock_back)
    faults = [(fault, draw) for fault in (*kinds, restart_in_import, restart_in_migration)]
    outcome = run_rounds(data, faults, draw, writers=4, readers=1)
    assert outcome.wrong == []
    assert outcome.refused.keys() <= {503}
    assert outcome.acknowledged
    assert outcome.read
