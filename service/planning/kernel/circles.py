"""Rows in the order of their arcs, and the circles in which none can be first."""

import numpy as np

from service.planning.kernel.compiled import Int, compiled, index, inlined
from service.planning.kernel.line import BrokenLineError, Int8s, Int32s, KernelArrays

ROWS_NAMED_MOST = 10


@inlined
def list_along_arcs(p: KernelArrays, part: Int8s, listed: Int32s, open_inputs: Int32s) -> Int:
    """List the rows of a part of a problem (1 by row, else 0), each behind those it waits for.

    How many are listed: all of the part but those that stand in a circle, or behind one.
    `open_inputs` is 0 before.
    """
    for row in range(len(part)):
        if part[row] != 0:
            for arc in range(p.successor_from[row], p.successor_from[row + 1]):
                open_inputs[index(p.successor[arc])] += 1
    count = 0
    for row in range(len(part)):
        if part[row] != 0 and open_inputs[row] == 0:
            listed[count] = row
            count += 1
    done = 0
    while done < count:
        here = index(listed[done])
        done += 1
        for arc in range(p.successor_from[here], p.successor_from[here + 1]):
            after = index(p.successor[arc])
            open_inputs[after] -= 1
            if open_inputs[after] == 0 and part[after] != 0:
                listed[count] = after
                count += 1
    return count


@compiled
def _list_part(p: KernelArrays, part: Int8s, listed: Int32s, open_inputs: Int32s) -> Int:
    return list_along_arcs(p, part, listed, open_inputs)


def refuse_circles(p: KernelArrays, part: Int8s) -> None:
    """Raise BrokenLineError where rows of a part wait for each other in a circle."""
    listed, open_inputs = np.zeros(len(part), np.int32), np.zeros(len(part), np.int32)
    count = _list_part(p, part, listed, open_inputs)
    if count < np.count_nonzero(part):
        raise circle_error(p, part, listed[:count])


def circle_error(p: KernelArrays, part: Int8s, listed: Int32s) -> BrokenLineError:
    """The error for a part of which `list_along_arcs` did not list all rows."""
    left = part != 0
    left[listed] = False
    rows = np.repeat(np.arange(len(part)), np.diff(p.successor_from))
    among = left[rows] & left[p.successor]
    # each row that is left waits for another that is left, so that the way back leads into a circle
    waits_for = dict(zip(p.successor[among].tolist(), rows[among].tolist(), strict=True))
    row, seen = int(np.flatnonzero(left)[0]), dict[int, None]()
    while row not in seen:
        seen[row] = None
        row = waits_for[row]
    circle = sorted(list(seen)[list(seen).index(row) :])
    named = ", ".join(map(str, circle[:ROWS_NAMED_MOST]))
    more = "" if len(circle) <= ROWS_NAMED_MOST else f" and {len(circle) - ROWS_NAMED_MOST} more"
    return BrokenLineError("successor", f"waits for itself, by rows {named}{more}", circle[0])
