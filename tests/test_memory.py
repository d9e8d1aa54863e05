"""No request takes much of a worker's memory, whatever was recorded and whatever is posted."""

import sys

import pytest

from tests.attacks.memory import RAISED_MAX_MIB, measure

DEAREST = 30


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's figures are those of Linux")
def test_none_of_the_dearest_requests_raises_a_worker_by_much() -> None:
    costs = sorted(measure(weeks=1, long_notes=60), key=lambda cost: -cost.raised_mib)
    assert len(costs) > DEAREST
    # 503: the trail is not built yet
    assert not [cost.asked for cost in costs if cost.status == 500]
    assert [cost for cost in costs[:DEAREST] if cost.raised_mib > RAISED_MAX_MIB] == []
