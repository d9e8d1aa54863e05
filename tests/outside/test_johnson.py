"""Johnson's rule: two machines, every job on the first and then on the second.

S. M. Johnson, Optimal two- and three-stage production schedules with setup times included, Naval
Research Logistics Quarterly 1, 1954, with its example; and the example of K. R. Baker, Introduction
to Sequencing and Scheduling, 1974. Both from memory; their numbers are in use as test cases.
"""

from collections.abc import Sequence
from itertools import permutations

import pytest

from tests.outside.shops import Shop, check_non_delay, flow_shop

EXAMPLES = [
    pytest.param((4, 4, 30, 6, 2), (5, 1, 4, 30, 3), (5, 1, 4, 3, 2), 47, id="Johnson"),
    pytest.param((3, 5, 1, 6, 7), (6, 2, 2, 6, 5), (3, 1, 4, 5, 2), 24, id="Baker"),
]


def _shop_of(first: Sequence[int], second: Sequence[int]) -> Shop:
    return flow_shop([[(1, a), (2, b)] for a, b in zip(first, second, strict=True)])


@pytest.mark.parametrize(("first", "second", "order", "makespan"), EXAMPLES)
def test_his_order_gives_his_makespan(
    first: Sequence[int], second: Sequence[int], order: Sequence[int], makespan: int
) -> None:
    shop = _shop_of(first, second)
    numbers = [number - 1 for number in order]
    settings = [
        shop.prioritized(numbers),
        shop.with_first([(job, machine) for job in numbers for machine in (1, 2)]),
    ]
    for setting in settings:
        check_non_delay(shop.jobs, setting.spans())
        assert setting.makespan() == makespan


@pytest.mark.parametrize(("first", "second", "order", "makespan"), EXAMPLES)
def test_no_other_order_beats_it(
    first: Sequence[int], second: Sequence[int], order: Sequence[int], makespan: int
) -> None:
    shop = _shop_of(first, second)
    makespans = [shop.prioritized(other).makespan() for other in permutations(range(len(first)))]
    assert min(makespans) == makespan < max(makespans)
