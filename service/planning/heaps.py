"""Binary heaps in arrays that are there already, compiled: one for events, many for the trays."""

import numpy as np

from service.planning.compiled import Int, compiled
from service.planning.line import Int32s, Int64s


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
    """Take the smallest."""
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


@compiled
def push_tray(keys: Int64s, rows: Int32s, origin: Int, size: Int, key: Int, row: Int) -> None:
    """Add to the heap of `size` that begins at `origin`."""
    at = size
    while at > 0 and keys[origin + (at - 1) // 2] > key:
        above = (at - 1) // 2
        keys[origin + at], rows[origin + at] = keys[origin + above], rows[origin + above]
        at = above
    keys[origin + at], rows[origin + at] = key, row


@compiled
def pop_tray(keys: Int64s, rows: Int32s, origin: Int, size: Int) -> Int:
    """Take the smallest key's row from the heap of `size` that begins at `origin`."""
    first = np.int64(rows[origin])
    key, row = keys[origin + size - 1], rows[origin + size - 1]
    at, child = np.int64(0), np.int64(1)
    while child < size - 1:
        if child + 1 < size - 1 and keys[origin + child + 1] < keys[origin + child]:
            child += 1
        if keys[origin + child] >= key:
            break
        keys[origin + at], rows[origin + at] = keys[origin + child], rows[origin + child]
        at, child = child, 2 * child + 1
    keys[origin + at], rows[origin + at] = key, row
    return first
