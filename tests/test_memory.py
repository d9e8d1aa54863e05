"""No request takes much of a worker's memory, whatever was recorded and whatever is posted."""

import sys

import pytest

from tests.attacks.memory import measure, not_held

READS_LEAST, POSTS_LEAST = 30, 20


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's figures are those of Linux")
def test_no_request_raises_a_worker_by_much() -> None:
    costs = list(measure(weeks=1, long_notes=60))
    missed = not_held(costs)
    assert not missed, "\n".join(missed)
    assert sum(cost.request.body is None for cost in costs) >= READS_LEAST
    assert sum(cost.request.body is not None for cost in costs) >= POSTS_LEAST
