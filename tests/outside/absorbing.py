"""Absorbing Markov chains: how often a walk is where, how long it lasts, where it ends.

C. M. Grinstead and J. L. Snell, Introduction to Probability, ch. 11; the variances are those of
J. G. Kemeny and J. L. Snell, Finite Markov Chains, 1960, ch. 3. Q holds the chances between states
that are left again, R those into states that are not.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def fundamental(q: Floats) -> Floats:
    """N = (I - Q)^-1: expected visits to each state (column) from each start (row)."""
    return np.linalg.inv(np.eye(len(q)) - q).astype(np.float64)


def visits_variance(n: Floats) -> Floats:
    """N (2 N_dg - I) - N_sq."""
    return n @ (2 * np.diag(np.diag(n)) - np.eye(len(n))) - n * n


def steps(n: Floats) -> Floats:
    """t = N c: expected steps from each start, the one that is absorbed among them."""
    return n @ np.ones(len(n))


def steps_variance(n: Floats) -> Floats:
    """(2 N - I) t - t_sq."""
    t = steps(n)
    return (2 * n - np.eye(len(n))) @ t - t * t


def gains(q: Floats, gained: Floats) -> tuple[Floats, Floats]:
    """Mean and variance, from each start, of what steps gain: `gained` from state to state.

    By the same argument as above, on what the first step gains; absorbing steps gain nothing.
    """
    n = fundamental(q)
    mean = n @ (q * gained).sum(axis=1)
    square = n @ ((q * gained**2).sum(axis=1) + 2 * (q * gained) @ mean)
    return mean, square - mean**2


def walk(states: int) -> tuple[Floats, Floats]:
    """Q and R of a walk that steps up or down with even chances until it leaves either end."""
    q = (np.eye(states, k=1) + np.eye(states, k=-1)) / 2
    r = np.zeros((states, 2))
    r[0, 0] = r[-1, 1] = 0.5
    return q, r
