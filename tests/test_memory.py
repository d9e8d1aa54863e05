"""No request takes much of a worker's memory, whatever was recorded and whatever is posted."""

import sys

import pytest

from tests.attacks.memory import RAISED_MAX_MIB, measure

READS_LEAST, POSTS_LEAST = 30, 20
# taken, recorded before, not JSON or too much in it, not this desk's, too large, wrong
POSTED = {200, 201, 400, 403, 409, 413, 422}


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's figures are those of Linux")
def test_no_request_raises_a_worker_by_much() -> None:
    costs = list(measure(weeks=1, long_notes=60))
    reads = [cost for cost in costs if ": GET " in cost.asked]
    posts = [cost for cost in costs if ": POST " in cost.asked]
    # what is refused for another reason than what it asks for measures nothing
    assert [cost for cost in reads if cost.status != 200] == []
    assert [cost for cost in posts if cost.status not in POSTED] == []
    assert len(reads) >= READS_LEAST
    assert len(posts) >= POSTS_LEAST
    assert [cost for cost in costs if cost.raised_mib > RAISED_MAX_MIB] == []
