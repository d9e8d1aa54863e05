"""Flow shops of the literature: 20 jobs on 5 machines, made anew by their published generator.

E. Taillard, Benchmarks for basic scheduling problems, European Journal of Operational Research 64,
1993: generator, time seeds, lower bounds and best makespans of permutations. Those of ta005 and
ta007 are later ones (1236 and 1239 in 1993); all ten are proven optimal among permutations.
"""

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from tests.outside.shops import Job


class Published(NamedTuple):
    """A published flow shop, and an order of its jobs (from 0) that is optimal.

    No plan ends before the lower bound; only permutations are known not to end before the optimum.
    The orders were found by a search of ours.
    """

    seed: int
    lower_bound: int
    optimum: int
    order: str


FLOW_SHOPS = {
    "ta001": Published(873654221, 1232, 1278, "8 16 2 12 7 18 5 3 4 0 1 13 10 14 6 17 15 9 19 11"),
    "ta002": Published(379008056, 1290, 1359, "5 9 16 6 17 19 2 15 14 0 12 11 18 4 8 7 3 10 1 13"),
    "ta003": Published(1866992158, 1073, 1081, "2 3 15 13 12 19 10 17 6 0 18 11 4 9 16 8 7 5 14 1"),
    "ta004": Published(216771124, 1268, 1293, "12 16 18 8 15 10 14 1 19 6 11 3 9 0 4 7 5 13 2 17"),
    "ta005": Published(495070989, 1198, 1235, "2 11 4 12 18 8 3 5 16 15 1 9 10 14 13 6 17 0 19 7"),
    "ta006": Published(402959317, 1180, 1195, "10 13 12 0 15 16 6 5 17 11 8 18 3 14 19 9 7 1 4 2"),
    "ta007": Published(1369363414, 1226, 1234, "9 1 12 0 18 16 15 19 14 2 7 3 10 5 4 8 13 11 6 17"),
    "ta008": Published(2021925980, 1170, 1206, "16 1 15 8 18 12 4 11 6 13 9 17 3 19 7 2 0 14 5 10"),
    "ta009": Published(573109518, 1206, 1230, "3 11 9 1 7 0 10 19 17 16 14 2 5 15 6 18 12 13 8 4"),
    "ta010": Published(88325120, 1082, 1108, "10 6 5 9 15 7 18 19 4 11 12 17 1 0 13 2 14 16 3 8"),
}

MACHINES, JOBS = 5, 20
_MULTIPLIER, _MODULUS = 16_807, 2**31 - 1


def uniform(seed: int, least: int = 1, most: int = 99) -> Iterator[int]:
    """Taillard's numbers: a linear congruential generator, scaled to whole numbers."""
    while True:
        seed = _MULTIPLIER * seed % _MODULUS
        yield least + seed * (most - least + 1) // _MODULUS


def flow_jobs(seed: int) -> Sequence[Job]:
    """The jobs of a time seed; times are drawn machine by machine."""
    numbers = uniform(seed)
    times = [list(islice(numbers, JOBS)) for _ in range(MACHINES)]
    return [[(machine, times[machine][job]) for machine in range(MACHINES)] for job in range(JOBS)]
