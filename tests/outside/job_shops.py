"""Job shops of the literature, proven optima, and what dispatching rules make of them.

The numbers stand in `job_shops.json` with their sources. A rule here is one whose order of a
machine's visits does not change with time, so that orders to put visits first can say it.
"""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from tests.outside.shops import Job, Shop, Visit, job_shop


class Published(NamedTuple):
    """A published job shop."""

    jobs: Sequence[Job]
    optimum: int


def _job(line: str) -> Job:
    steps = (step.split(":") for step in line.split())
    return [(int(machine), int(minutes)) for machine, minutes in steps]


def _read() -> dict[str, Published]:
    text = Path(__file__).with_name("job_shops.json").read_text(encoding="utf-8")
    shops = json.loads(text)["shops"]
    return {
        name: Published([_job(line) for line in shop["jobs"]], shop["optimum"])
        for name, shop in shops.items()
    }


JOB_SHOPS = _read()

Rule = Callable[[Job, int], int]
"""What a job's operation at a place counts for a rule; the smallest goes first."""

RULES: dict[str, Rule] = {
    "shortest operation": lambda job, place: job[place][1],
    "longest operation": lambda job, place: -job[place][1],
    "most work remaining": lambda job, place: -sum(minutes for _, minutes in job[place:]),
    "most operations remaining": lambda job, place: place - len(job),
}

MAKESPANS: dict[str, tuple[int | None, ...]] = {
    "ft06": (88, 77, 61, 59),
    "ft10": (1074, 1295, 1108, 1163),
    "la01": (751, 822, 735, None),
    "la02": (821, None, 817, None),
    "la03": (672, None, 696, None),
    "la04": (711, None, 758, None),
    "la05": (610, None, 593, None),
}
"""Makespans of non-delay dispatching by these rules, in their order (SPT, LPT, MWKR and MOPNR in
papers on dispatching rules): remembered from such papers, no source at hand; None is not known.
Papers seldom say how they break ties; these hold where the job listed first goes first.
"""


def by_rule(shop: Shop, rule: Rule) -> Shop:
    """The shop with all its visits put first in a rule's order; of equals the job listed first."""
    places = [
        (rule(steps, place), job, machine)
        for job, steps in enumerate(shop.jobs)
        for place, (machine, _) in enumerate(steps)
    ]
    return shop.with_first([(job, machine) for _, job, machine in sorted(places)])


def every_visit(shop: Shop) -> list[Visit]:
    """All visits of a shop, job by job."""
    return [(job, machine) for job, steps in enumerate(shop.jobs) for machine, _ in steps]


def shop_of(name: str) -> Shop:
    """A published job shop as a studio."""
    return job_shop(JOB_SHOPS[name].jobs)
