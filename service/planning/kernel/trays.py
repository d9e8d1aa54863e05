"""What waits in the trays, as bits: a visit's place is set when it comes and cleared as it starts.

Places are numbered by department and, in it, by dispatch key, so that the first bit that is set is
the visit to start. `low` has a bit for each place and `high` a bit for each word of `low`; words
have 32 bits, in int64, so that nothing overflows. The places of a department begin at a multiple of
`PLACES_APART`: no word of `high` belongs to two.
"""

from typing import Final

import numpy as np

from service.planning.kernel.compiled import Int, index, inlined
from service.planning.kernel.line import Int64s

WORD_BITS: Final = 5
IN_WORD: Final = (1 << WORD_BITS) - 1
HIGH_BITS: Final = 2 * WORD_BITS
PLACES_APART: Final = 1 << HIGH_BITS

# a bit alone times this has five top bits that no other one has
_TELLING = 0x077CB531
_TOLD = np.zeros(1 << WORD_BITS, np.int64)
for _bit in range(1 << WORD_BITS):
    _TOLD[(_TELLING << _bit & 0xFFFFFFFF) >> 27] = _bit


@inlined
def lowest_bit(word: Int) -> Int:
    """The number of the lowest bit that is set in a word other than 0."""
    return _TOLD[((word & -word) * _TELLING & 0xFFFFFFFF) >> 27]


@inlined
def put(low: Int64s, high: Int64s, place: Int) -> None:
    """Set the bit of a place."""
    word = place >> WORD_BITS
    low[word] |= np.int64(1) << (place & IN_WORD)
    high[word >> WORD_BITS] |= np.int64(1) << (word & IN_WORD)


@inlined
def take_first(low: Int64s, high: Int64s, since: Int) -> Int:
    """Clear the first bit at or behind a word of `high`, where there is one; its place."""
    above = index(since)
    while high[above] == 0:
        above += 1
    word = (above << WORD_BITS) + lowest_bit(high[above])
    place = (word << WORD_BITS) + lowest_bit(low[word])
    low[word] &= low[word] - 1
    if low[word] == 0:
        high[above] &= high[above] - 1
    return place
