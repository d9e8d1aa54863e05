"""What theory says of queues: closed forms, and how far a long run may stray from them.

Time is counted in mean services, `lam` is the arrival rate in that unit. Nothing here knows the
planning kernel.
"""

from functools import cache
from math import comb, factorial
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ERRORS = 4
"""Standard errors within which a run must come."""

EXPONENTIAL = (1.0, 2.0, 6.0, 24.0)
FIXED = (1.0, 1.0, 1.0, 1.0)
"""Moments of a service with mean 1."""


def erlang_c(lam: float, artists: int) -> float:
    """The chance to wait in M/M/c (A. K. Erlang 1917)."""
    all_busy = lam**artists / factorial(artists) * artists / (artists - lam)
    return all_busy / (sum(lam**k / factorial(k) for k in range(artists)) + all_busy)


def wait_mmc(lam: float, artists: int) -> float:
    """The mean wait in M/M/c."""
    return erlang_c(lam, artists) / (artists - lam)


def wait_moments_mg1(lam: float, service: tuple[float, float, float, float]) -> list[float]:
    """The first three moments of the wait in M/G/1, from four of the service.

    L. Takacs, Introduction to the Theory of Queues, 1962; the first is Pollaczek-Khinchine's.
    """
    waits = [1.0]
    for k in range(1, 4):
        terms = (comb(k, i) * service[i] / (i + 1) * waits[k - i] for i in range(1, k + 1))
        waits.append(lam / (1 - lam * service[0]) * sum(terms))
    return waits[1:]


def wait_variance_mg1(lam: float, service: tuple[float, float, float, float]) -> float:
    """n times the variance of the mean of n successive waits in M/G/1, for large n.

    N. Blomqvist, The covariance function of the M/G/1 queueing system, Skandinavisk
    Aktuarietidskrift 50, 1967. Derived anew: with Poisson arrivals a quadratic solves Poisson's
    equation of the waits.
    """
    w1, w2, w3 = wait_moments_mg1(lam, service)
    rho = lam * service[0]
    return lam / (1 - rho) * (w3 - w1 * w2) + (1 + rho) / (1 - rho) * (w2 - w1 * w1)


def rates_mmc(lam: float, artists: int, most: int = 200) -> Floats:
    """Rates between the numbers present in M/M/c, cut off where nobody ever gets."""
    rates = np.zeros((most, most))
    for k in range(most - 1):
        rates[k, k + 1] = lam
        rates[k + 1, k] = min(k + 1, artists)
    return rates


def rates_tandem(lam: float, mu: tuple[float, float], most: int = 40) -> Floats:
    """Rates between the numbers (i, j) present in M/M/1 -> M/M/1; state i * most + j."""
    rates = np.zeros((most, most, most, most))
    for i in range(most):
        for j in range(most):
            if i + 1 < most:
                rates[i, j, i + 1, j] = lam
            if i > 0 and j + 1 < most:
                rates[i, j, i - 1, j + 1] = mu[0]
            if j > 0:
                rates[i, j, i, j - 1] = mu[1]
    return rates.reshape(most * most, most * most)


def means_and_variances(
    rates: Floats, per_time: Floats, per_jump: Floats | None = None
) -> tuple[Floats, Floats]:
    """Of what a Markov process gains: the rate, and T times the variance of its average over T.

    per_time  (quantities, states)  gained while in a state
    per_jump  (states, states)      gained at a jump, the same for every quantity

    By Poisson's equation; in this use: W. Whitt, Asymptotic formulas for Markov processes with
    applications to simulation, Operations Research 40, 1992.
    """
    jumps = np.zeros_like(rates) if per_jump is None else per_jump
    states = len(rates)
    generator = rates - np.diag(rates.sum(axis=1))
    ones = np.ones((states, 1))
    stationary = np.linalg.solve((generator + ones).T, np.ones(states))
    gained = per_time + (rates * jumps).sum(axis=1)
    means = gained @ stationary
    to_come = np.linalg.solve(ones * stationary - generator, (gained - means[:, None]).T).T
    variances = [
        float(stationary @ (rates * (later[None, :] - later[:, None] + jumps) ** 2).sum(axis=1))
        for later in to_come
    ]
    return means, np.array(variances)


class Figure(NamedTuple):
    """A mean, and the variance of its estimate times the run's length in mean services."""

    mean: float
    variance: float

    def within(self, length: float) -> float:
        """How far a run of that length may be off."""
        return ERRORS * float(np.sqrt(self.variance / length))


@cache
def theory(lam: float, artists: int) -> dict[str, Figure]:
    """Means of M/M/c with their variances: by time, or by scene as a ratio of two gains by time."""
    rates = rates_mmc(lam, artists)
    present = np.arange(float(len(rates)))
    waiting, busy = np.maximum(present - artists, 0), np.minimum(present, artists) / artists
    means, variances = means_and_variances(rates, np.stack([present, waiting, busy]))
    figures = {
        name: Figure(float(mean), float(variance))
        for name, mean, variance in zip(
            ("present", "waiting", "busy"), means, variances, strict=True
        )
    }
    comes: Floats = np.where(np.triu(rates) > 0, 1.0, 0.0)
    in_vain: Floats = comes * (present >= artists)[:, None]
    chance, wait = erlang_c(lam, artists), wait_mmc(lam, artists)
    for name, mean, gained, per_scene in (
        ("wait", wait, waiting, -wait * comes),
        ("kept waiting", chance, 0 * present, in_vain - chance * comes),
    ):
        off, variance = means_and_variances(rates, gained[None, :], per_scene)
        assert abs(float(off[0])) < 1e-6, "the closed form and the process disagree"
        figures[name] = Figure(mean, float(variance[0]) / lam**2)
    return figures
