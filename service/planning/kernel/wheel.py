"""What ends within some days, by minute: a wheel with a list of rows in each of its slots.

A minute's slot is its remainder by `AHEAD_MIN`; what ends later than that belongs elsewhere, so no
slot holds two minutes. `ending` has a slot's first row, -1 if there is none, and `link` the next
one of each row. `filled` has a bit for each slot, in words of 32 bits like the trays'.
"""

from typing import Final

import numpy as np

from service.planning.kernel.compiled import Int, inlined, least
from service.planning.kernel.line import Int32s, Int64s
from service.planning.kernel.trays import IN_WORD, WORD_BITS, lowest_bit

AHEAD_MIN: Final = 1 << 14
_ROUND: Final = AHEAD_MIN - 1


@inlined
def put_ending(filled: Int64s, ending: Int32s, link: Int32s, row: Int, t: Int) -> None:
    """Add a row that ends at `t`."""
    slot = t & _ROUND
    filled[slot >> WORD_BITS] |= np.int64(1) << (slot & IN_WORD)
    link[row] = ending[slot]
    ending[slot] = row


@inlined
def take_ending(filled: Int64s, ending: Int32s, t: Int) -> Int:
    """Empty the slot of `t`; the first of its rows, or -1."""
    slot = t & _ROUND
    filled[slot >> WORD_BITS] &= ~(np.int64(1) << (slot & IN_WORD))
    row = np.int64(ending[slot])
    ending[slot] = -1
    return row


@inlined
def first_ending(filled: Int64s, t: Int, bound: Int) -> Int:
    """The first minute after `t` in which a row ends, if that is before `bound`, else `bound`."""
    at = t + 1
    bits = filled[(at & _ROUND) >> WORD_BITS] >> (at & IN_WORD)
    if bits == 0:
        at = (at | IN_WORD) + 1
        past = least(at + AHEAD_MIN, bound)
        while at < past and bits == 0:
            bits = filled[(at & _ROUND) >> WORD_BITS]
            at += IN_WORD + 1
        if bits == 0:
            return bound
        at -= IN_WORD + 1
    return least(at + lowest_bit(bits), bound)
