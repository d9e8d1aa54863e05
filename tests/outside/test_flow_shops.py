"""Taillard's flow shops of 20 jobs on 5 machines as studios (source: `flow_shops`)."""

from random import Random

import pytest

from tests.outside.flow_shops import FLOW_SHOPS, JOBS, MACHINES, flow_jobs
from tests.outside.shops import Shop, Spans, bound, check_non_delay, flow_shop

TRIALS = 10

TA001_FIRST_MACHINE = (
    *(54, 83, 15, 71, 77, 36, 53, 38, 27, 87),
    *(76, 91, 14, 29, 12, 77, 32, 87, 68, 94),
)
TA001_LAST_MACHINE = (
    *(58, 56, 20, 85, 53, 35, 53, 41, 69, 13),
    *(86, 72, 8, 49, 47, 87, 58, 18, 68, 28),
)


def _shop_of(name: str) -> Shop:
    return flow_shop(flow_jobs(FLOW_SHOPS[name].seed))


def _order_on(spans: Spans, machine: int) -> list[int]:
    return sorted(range(JOBS), key=lambda job: spans[job, machine])


def _is_permutation(spans: Spans) -> bool:
    return all(_order_on(spans, n) == _order_on(spans, 0) for n in range(1, MACHINES))


def test_the_generator_gives_the_published_times() -> None:
    jobs = flow_jobs(FLOW_SHOPS["ta001"].seed)
    assert tuple(job[0][1] for job in jobs) == TA001_FIRST_MACHINE
    assert tuple(job[-1][1] for job in jobs) == TA001_LAST_MACHINE


@pytest.mark.parametrize("name", FLOW_SHOPS)
def test_the_bound_is_the_published_one(name: str) -> None:
    assert bound(flow_jobs(FLOW_SHOPS[name].seed)) == FLOW_SHOPS[name].lower_bound


@pytest.mark.parametrize("name", FLOW_SHOPS)
def test_priorities_in_an_optimal_order_give_the_published_makespan(name: str) -> None:
    order = [int(job) for job in FLOW_SHOPS[name].order.split()]
    spans = _shop_of(name).prioritized(order).spans()
    assert max(finish for _, finish in spans.values()) == FLOW_SHOPS[name].optimum
    assert _order_on(spans, 0) == order


@pytest.mark.parametrize("name", FLOW_SHOPS)
def test_no_priorities_of_jobs_beat_the_best_permutation(name: str) -> None:
    shop = _shop_of(name)
    for seed in range(TRIALS):
        order = Random(seed).sample(range(JOBS), JOBS)
        spans = shop.prioritized(order).spans()
        check_non_delay(shop.jobs, spans)
        # jobs reach every machine in the order in which the first one let them go
        assert _is_permutation(spans)
        assert max(finish for _, finish in spans.values()) >= FLOW_SHOPS[name].optimum


@pytest.mark.parametrize("name", FLOW_SHOPS)
def test_no_orders_to_put_visits_first_beat_the_bound(name: str) -> None:
    shop = _shop_of(name)
    visits = [(job, machine) for job in range(JOBS) for machine in range(MACHINES)]
    permutations = []
    for seed in range(TRIALS):
        spans = shop.with_first(Random(seed).sample(visits, len(visits))).spans()
        check_non_delay(shop.jobs, spans)
        assert max(finish for _, finish in spans.values()) >= FLOW_SHOPS[name].lower_bound
        permutations.append(_is_permutation(spans))
    assert not all(permutations), "only orders that differ by machine ask for the bound"
