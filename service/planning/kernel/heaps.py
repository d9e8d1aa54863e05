"""A binary heap in an array that is there already, compiled: of events that lie far ahead."""

import numpy as np

from service.planning.kernel.compiled import Int, compiled
from service.planning.kernel.line import Int64s


@compiled
def push_event(events: Int64s, event: Int) -> None:
    """Add to the heap in entries 1 to `events[0]`, its size."""
    events[0] += 1
    at = events[0]
    while at > 1 and events[at >> 1] > event:
        events[at] = events[at >> 1]
        at >>= 1
    events[at] = event


@compiled
def pop_event(events: Int64s) -> Int:
    """Take the earliest event out of the heap."""
    first, last, size = events[1], events[events[0]], events[0] - 1
    events[0] = size
    at, child = np.int64(1), np.int64(2)
    while child <= size:
        if child < size and events[child + 1] < events[child]:
            child += 1
        if events[child] >= last:
            break
        events[at] = events[child]
        at, child = child, 2 * child
    events[at] = last
    return first
