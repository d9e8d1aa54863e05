"""How far plans end after the optimum, by dispatching rule: `python -m tests.outside.gaps`.

"as listed" is our rule where nothing is put first, prioritized or due: the total order of items.
"""

from collections.abc import Sequence

from tests.outside.flow_shops import FLOW_SHOPS, flow_jobs
from tests.outside.job_shops import JOB_SHOPS, RULES, by_rule, shop_of
from tests.outside.shops import Job, flow_shop


def _row(cells: Sequence[object]) -> str:
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def _cell(makespan: int, optimum: int) -> str:
    return f"{makespan} (+{100 * (makespan - optimum) / optimum:.0f}%)"


def _table(heads: Sequence[str], rows: Sequence[tuple[str, int, Sequence[int]]]) -> list[str]:
    """A table of makespans and gaps, with the mean gap of each rule below."""
    lines = [_row(["shop", "optimum", *heads]), _row(["---"] * (len(heads) + 2))]
    for name, optimum, makespans in rows:
        lines.append(_row([name, optimum, *(_cell(each, optimum) for each in makespans)]))
    means = [
        sum(makespans[n] / optimum - 1 for _, optimum, makespans in rows) / len(rows)
        for n in range(len(heads))
    ]
    return [*lines, _row(["mean gap", "", *(f"+{mean:.1%}" for mean in means)])]


def job_shop_gaps() -> list[str]:
    """The published job shops by every rule."""
    rows = []
    for name, (_, optimum) in JOB_SHOPS.items():
        shop = shop_of(name)
        ruled = [by_rule(shop, rule).makespan() for rule in RULES.values()]
        rows.append((name, optimum, [shop.makespan(), *ruled]))
    return _table(["as listed", *RULES], rows)


def flow_shop_gaps() -> list[str]:
    """The published flow shops by priorities of jobs."""

    def minutes(job: Job) -> int:
        return sum(time for _, time in job)

    rows = []
    for name, published in FLOW_SHOPS.items():
        shop = flow_shop(flow_jobs(published.seed))
        shortest = sorted(range(len(shop.jobs)), key=lambda job: minutes(shop.jobs[job]))
        orders = [shortest, shortest[::-1]]
        prioritized = [shop.prioritized(order).makespan() for order in orders]
        rows.append((name, published.optimum, [shop.makespan(), *prioritized]))
    return _table(["as listed", "shortest job", "longest job"], rows)


if __name__ == "__main__":
    print("\n".join([*job_shop_gaps(), "", *flow_shop_gaps()]))
