"""Values in PostgreSQL's binary format, to and from bytes, for statements run by `prepared`.

Made here because a driver that finds out the type of each value takes longer than the server takes
to store it.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain
from struct import Struct

_TIMESTAMPTZ, _INT8, _TEXT, _BYTEA = 1184, 20, 25, 17
_EPOCH_2000_US = 946_684_800_000_000  # PostgreSQL counts from 2000, we from 1970
_WHOLE = Struct("!q")
_LENGTH = Struct("!i")
_ARRAY = Struct("!iiIii")  # dimensions, whether there are nulls, type, length, lower bound
_NULL = _LENGTH.pack(-1)
_LENGTHS = tuple(map(_LENGTH.pack, range(4096)))
_WHOLE_BYTES = 8


def whole(value: int) -> bytes:
    """A bigint."""
    return _WHOLE.pack(value)


def instant(at_us: int) -> bytes:
    """A timestamptz of microseconds since the epoch."""
    return _WHOLE.pack(at_us - _EPOCH_2000_US)


def read_whole(raw: bytes) -> int:
    """The integer of a bigint."""
    return int.from_bytes(raw, "big", signed=True)


def read_instant(raw: bytes) -> int:
    """Microseconds since the epoch of a timestamptz."""
    return int.from_bytes(raw, "big", signed=True) + _EPOCH_2000_US


def read_texts(raw: bytes) -> tuple[str, ...]:
    """The texts of a text[] of one dimension without nulls."""
    texts: list[str] = []
    at = _ARRAY.size
    while at < len(raw):
        (length,) = _LENGTH.unpack_from(raw, at)
        at += _LENGTH.size + length
        texts.append(raw[at - length : at].decode())
    return tuple(texts)


def texts(values: Iterable[str | None]) -> bytes:
    """A text[]."""
    return _array(_TEXT, [None if value is None else value.encode() for value in values])


def octets(values: Iterable[bytes]) -> bytes:
    """A bytea[]."""
    return _array(_BYTEA, list(values))


def wholes(values: Sequence[int]) -> bytes:
    """A bigint[]."""
    return _array_of_wholes(_INT8, values)


def instants(values_us: Sequence[int]) -> bytes:
    """A timestamptz[] of microseconds since the epoch."""
    return _array_of_wholes(_TIMESTAMPTZ, [at_us - _EPOCH_2000_US for at_us in values_us])


def _array(type_: int, values: Sequence[bytes | None]) -> bytes:
    parts = [_ARRAY.pack(1, 1, type_, len(values), 1)]
    for value in values:
        if value is None:
            parts.append(_NULL)
        else:
            length = len(value)
            parts.append(_LENGTHS[length] if length < len(_LENGTHS) else _LENGTH.pack(length))
            parts.append(value)
    return b"".join(parts)


def _array_of_wholes(type_: int, values: Sequence[int]) -> bytes:
    head = _ARRAY.pack(1, 0, type_, len(values), 1)
    return head + _run_of(len(values)).pack(
        *chain.from_iterable((_WHOLE_BYTES, value) for value in values)
    )


@lru_cache(maxsize=2048)
def _run_of(count: int) -> Struct:
    return Struct("!" + "iq" * count)
