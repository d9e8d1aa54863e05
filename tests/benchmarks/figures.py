"""What a benchmark says, and how it takes the time."""

import gc
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Size:
    """How much of it: 1.0 is what the figures in the documents were measured at."""

    part: float = 1.0

    def of(self, whole: int, least: int = 1) -> int:
        """That part of a whole number, and no less than `least`."""
        return max(least, round(whole * self.part))


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure; `ratio` compares it with what `beside` names, of the same run."""

    what: str
    value: float
    unit: str
    ratio: float | None = None
    beside: str = ""


@contextmanager
def no_collector() -> Iterator[None]:
    """Without Python's garbage collector, as a worker runs between its rare collections."""
    gc.collect()
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def best_s(call: Callable[[], object], times: int = 5) -> float:
    """Seconds of the fastest of several calls: what the machine can do undisturbed."""
    return min(took_s(call) for _ in range(times))


def best_in_turn_s(
    one: Callable[[], object], other: Callable[[], object], times: int = 5
) -> tuple[float, float]:
    """Seconds of the fastest calls of two, made in turn so that both meet the same disturbance."""
    taken = [(took_s(one), took_s(other)) for _ in range(times)]
    return min(first for first, _ in taken), min(second for _, second in taken)


def took_s(call: Callable[[], object]) -> float:
    """Seconds of one call."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began
