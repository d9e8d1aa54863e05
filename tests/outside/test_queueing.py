"""Long lines planned by the kernel, against the closed forms of queueing theory.

Scenes arrive at random minutes and are taken in that order, as a tray would be without dates. A
mean service lasts a thousand minutes: with the same draws, whole minutes shifted a mean wait by
less than a thousandth of its tolerance and a chance to wait by less than a twentieth.

Tolerances are four standard errors of a run of that length, known beforehand and not taken from
what came out: the variance of each average follows from theory (`queues`). Seeds are fixed. Each
run starts empty, which costs some hundred mean services of waiting in all, over a million scenes.

What theory says here is computed from its formulas; textbook figures beside it are those of R.
Bronson, Schaum's Outline of Operations Research, 1982, as quoted by M. Casquilho (University of
Lisbon, web.ist.utl.pt/mcasquilho). Sources of the formulas: A. K. Erlang 1917 (chance and wait in
M/M/c); F. Pollaczek 1930 and A. Y. Khinchine 1932 (M/G/1); D. V. Lindley 1952, J. Kiefer and J.
Wolfowitz 1955 (the waits one by one); P. J. Burke 1956, J. R. Jackson 1957 (departments in a row).
"""

import heapq

import numpy as np
import pytest

from tests.outside import queues
from tests.outside.long_lines import (
    MEAN_MIN,
    Station,
    arrivals,
    exponential,
    planned,
    present_times,
)
from tests.outside.queues import ERRORS, EXPONENTIAL, FIXED, Figure, theory

# --- what theory says --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("per_time", "services", "artists", "waits", "waiting"),
    [
        # problems 23.14 and 23.16: 30 an hour at 1.5 minutes; 1 a minute at 45 seconds
        pytest.param(30 / 60, 1.5, 1, 4.5, 2.25, id="23.14"),
        pytest.param(1, 0.75, 1, 2.25, 2.25, id="23.16"),
        # problem 24.6: 300 a year at 2 days, three at work; both printed with three figures
        pytest.param(300 / 365, 2, 3, 0.43, 0.352, id="24.6"),
    ],
)
def test_the_closed_forms_give_the_figures_of_a_textbook(
    per_time: float, services: float, artists: int, waits: float, waiting: float
) -> None:
    """The mean wait, in the problem's unit of time, and the mean number that wait."""
    wait = queues.wait_mmc(per_time * services, artists) * services
    assert wait == pytest.approx(waits, rel=0.003)
    assert wait * per_time == pytest.approx(waiting, rel=0.002)


@pytest.mark.parametrize("lam", [0.5, 0.8, 0.9])
def test_waits_by_two_formulas_agree(lam: float) -> None:
    """Erlang's and Pollaczek's and Khinchine's; services of one length wait half as long."""
    exponential_wait = queues.wait_moments_mg1(lam, EXPONENTIAL)[0]
    assert exponential_wait == pytest.approx(queues.wait_mmc(lam, 1))
    assert queues.wait_moments_mg1(lam, FIXED)[0] == pytest.approx(exponential_wait / 2)


@pytest.mark.parametrize("rho", [0.5, 0.8])
def test_the_variances_are_those_of_other_formulas(rho: float) -> None:
    """Of the wait: D. J. Daley, J. Austral. Math. Soc. 8, 1968. Of the number present: W. Whitt,
    Management Science 35, 1989. Both formulas from memory; here they come from two derivations.
    """
    of_waits = rho * (2 + 5 * rho - 4 * rho**2 + rho**3) / (1 - rho) ** 4
    of_number = 2 * rho * (1 + rho) / (1 - rho) ** 4
    assert queues.wait_variance_mg1(rho, EXPONENTIAL) == pytest.approx(of_waits)
    figures = theory(rho, 1)
    assert figures["wait"].variance * rho == pytest.approx(of_waits, rel=1e-5)
    assert figures["present"].variance == pytest.approx(of_number, rel=1e-5)


# --- one department ---------------------------------------------------------------------------

ERLANG = [
    pytest.param(0.8, 1, 1_600_000, id="M/M/1"),
    pytest.param(2.4, 3, 2_400_000, id="M/M/3"),
]


@pytest.mark.parametrize(("lam", "artists", "n"), ERLANG)
def test_exponential_services(lam: float, artists: int, n: int) -> None:
    random = np.random.default_rng(1917)
    arrived, services = arrivals(random, n, lam), exponential(random, n)
    (station,) = planned(arrived, [services], [artists])
    end_min = int(station.finished.max())
    waits = station.started - arrived
    minutes, present = present_times(station)
    seen = {
        "present": float(minutes @ present) / end_min,
        "waiting": float(waits.sum()) / end_min,
        "busy": float((station.finished - station.started).sum()) / end_min / artists,
        "wait": float(waits.mean()) / MEAN_MIN,
        "kept waiting": float((waits > 0).mean()),
    }
    figures = theory(lam, artists)
    assert figures["busy"].mean == pytest.approx(lam / artists)
    for name, figure in figures.items():
        allowed = figure.within(end_min / MEAN_MIN)
        assert allowed < 0.04 * figure.mean, f"{name}: too wide to tell anything"
        assert seen[name] == pytest.approx(figure.mean, abs=allowed), name


@pytest.mark.parametrize(
    ("lam", "wait", "n"), [(0.5, 0.5, 1_000_000), (0.8, 2.0, 1_600_000), (0.9, 4.5, 1_800_000)]
)
def test_services_of_one_length(lam: float, wait: float, n: int) -> None:
    """Pollaczek's and Khinchine's lam / 2 / (1 - lam)."""
    assert wait == pytest.approx(lam / 2 / (1 - lam))
    arrived = arrivals(np.random.default_rng(1930), n, lam)
    services = np.full(n, MEAN_MIN, np.int64)
    (station,) = planned(arrived, [services], [1])
    seen = float((station.started - arrived).mean()) / MEAN_MIN
    allowed = ERRORS * float(np.sqrt(queues.wait_variance_mg1(lam, FIXED) / n))
    assert allowed < 0.05 * wait
    assert seen == pytest.approx(wait, abs=allowed)


def test_the_waits_at_one_artist_are_lindleys() -> None:
    """W(n+1) = max(0, W(n) + S(n) - T(n)), to the minute."""
    n = 1_000_000
    random = np.random.default_rng(1952)
    arrived, services = arrivals(random, n, 0.95), exponential(random, n)
    (station,) = planned(arrived, [services], [1])
    walk = np.concatenate([[0], np.cumsum(services[:-1] - np.diff(arrived))])
    waits = walk - np.minimum.accumulate(walk)
    assert np.array_equal(station.started, arrived + waits)


def test_the_waits_at_several_artists_are_kiefers_and_wolfowitzs() -> None:
    """Each scene waits for the least of the artists' workloads, to the minute."""
    n, artists = 100_000, 5
    random = np.random.default_rng(1955)
    arrived, services = arrivals(random, n, 4.75), exponential(random, n)
    (station,) = planned(arrived, [services], [artists])
    free_at, starts = [0] * artists, []
    for at, service in zip(arrived.tolist(), services.tolist(), strict=True):
        starts.append(max(at, free_at[0]))
        heapq.heapreplace(free_at, starts[-1] + service)
    assert station.started.tolist() == starts


# --- two departments --------------------------------------------------------------------------

TANDEM_LAM, TANDEM_MU = 0.6, (1.0, 0.8)


@pytest.fixture(scope="module")
def tandem() -> tuple[Station, Station]:
    n = 1_000_000
    random = np.random.default_rng(1956)
    arrived = arrivals(random, n, TANDEM_LAM)
    services = [exponential(random, n, 1 / mu) for mu in TANDEM_MU]
    # one artist and first come, first served: scenes leave in the order in which they came
    first, second = planned(arrived, services, [1, 1])
    return first, second


def test_the_second_department_waits_as_if_it_were_alone(
    tandem: tuple[Station, Station],
) -> None:
    """Burke: what leaves M/M/1 is as random as what came, so the second is M/M/1 too."""
    for station, mu in zip(tandem, TANDEM_MU, strict=True):
        rho = TANDEM_LAM / mu
        wait = queues.wait_mmc(rho, 1) / mu
        variance = queues.wait_variance_mg1(rho, EXPONENTIAL) / mu**2
        allowed = ERRORS * float(np.sqrt(variance / len(station.arrived)))
        assert allowed < 0.04 * wait
        seen = float((station.started - station.arrived).mean()) / MEAN_MIN
        assert seen == pytest.approx(wait, abs=allowed)


def test_what_leaves_is_as_random_as_what_came(tandem: tuple[Station, Station]) -> None:
    """Gaps between hand-offs: exponential (Kolmogorov 1933, chance 1 in 10,000) and unrelated."""
    gaps = np.diff(tandem[0].finished) / MEAN_MIN
    n = len(gaps)
    below = 1 - np.exp(-TANDEM_LAM * np.sort(gaps))
    off = np.abs(below - (np.arange(n) + 0.5) / n).max()
    assert off < np.sqrt(np.log(2 / 1e-4) / (2 * n))
    related = np.corrcoef(gaps[:-1], gaps[1:])[0, 1]
    assert abs(related) < ERRORS / np.sqrt(n)


def test_numbers_present_are_independent(tandem: tuple[Station, Station]) -> None:
    """Jackson: P(i, j) = (1 - r1) r1^i (1 - r2) r2^j, for i and j from 0 to 3."""
    first, second = tandem
    at = np.concatenate([first.arrived, first.finished, second.finished])
    n = len(first.arrived)
    order = np.argsort(at, kind="stable")
    here = np.cumsum(np.repeat([1, -1, 0], n)[order])
    there = np.cumsum(np.repeat([0, 1, -1], n)[order])
    minutes = np.diff(at[order], append=at[order[-1]])
    end_min = int(second.finished.max())
    most = 40
    cells = [(i, j) for i in range(4) for j in range(4)]
    watched = np.zeros((len(cells), most * most))
    watched[np.arange(len(cells)), [i * most + j for i, j in cells]] = 1
    means, variances = queues.means_and_variances(
        queues.rates_tandem(TANDEM_LAM, TANDEM_MU, most), watched
    )
    r1, r2 = (TANDEM_LAM / mu for mu in TANDEM_MU)
    for (i, j), mean, variance in zip(cells, means, variances, strict=True):
        product = (1 - r1) * r1**i * (1 - r2) * r2**j
        assert mean == pytest.approx(product, rel=1e-4)
        allowed = Figure(product, float(variance)).within(end_min / MEAN_MIN)
        assert allowed < 0.06 * product
        seen = float(minutes[(here == i) & (there == j)].sum()) / end_min
        assert seen == pytest.approx(product, abs=allowed), (i, j)
