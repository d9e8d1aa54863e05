"""List scheduling has anomalies: more artists, less work or fewer arcs can end later.

R. L. Graham, Bounds on multiprocessing timing anomalies, SIAM J. Appl. Math. 17(2), 1969. The
instance is from memory; its makespans were computed again with another list scheduler.
"""

from collections.abc import Sequence

import pytest

from service.planning.kernel.dispatch import dispatch
from tests.planning.lines import Crew, Department, Row, line_of

TIMES = (3, 2, 2, 2, 4, 4, 4, 4, 9)
ARCS = ((1, 9), (4, 5), (4, 6), (4, 7), (4, 8))
LIST = (1, 2, 3, 4, 5, 6, 7, 8, 9)
OTHER_LIST = (1, 2, 4, 5, 6, 3, 9, 7, 8)
SHORTER = tuple(time - 1 for time in TIMES)
FEWER_ARCS = ((1, 9), (4, 7), (4, 8))


@pytest.mark.parametrize(
    ("artists", "times", "arcs", "order", "makespan"),
    [
        pytest.param(3, TIMES, ARCS, LIST, 12, id="base"),
        pytest.param(3, TIMES, ARCS, OTHER_LIST, 14, id="other list"),
        pytest.param(4, TIMES, ARCS, LIST, 15, id="four machines"),
        pytest.param(3, SHORTER, ARCS, LIST, 13, id="all times less 1"),
        pytest.param(3, TIMES, FEWER_ARCS, LIST, 16, id="two arcs dropped"),
    ],
)
def test_makespan(
    artists: int,
    times: Sequence[int],
    arcs: Sequence[tuple[int, int]],
    order: Sequence[int],
    makespan: int,
) -> None:
    rows = [
        Row(
            work_e4=time * 10_000,
            after=[before - 1 for before, after in arcs if after == task],
            key=order.index(task),
        )
        for task, time in enumerate(times, start=1)
    ]
    plan = dispatch(line_of([Department([Crew(artists)])], rows))
    assert int(plan.finish.max()) == makespan
