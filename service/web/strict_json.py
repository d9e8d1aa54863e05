"""A strict JSON reader: what another reader could take differently is refused, with its place.

A document that is written as a program would write it is read by the fast parser, and shown to be
in order by writing it again: but for the blanks between its values the bytes are the same. Any
other one is read with every pair of an object and every number kept as it was written, so that what
is wrong can be named with its place.
"""

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import orjson

from service.web.pointers import FieldError, Place, first_of, pointer_of

# beyond these a reader with doubles no longer tells neighbours apart (RFC 7493, section 2.2)
WHOLE_MAX = 2**53 - 1
DEPTH_MAX = 32
ERRORS_MAX = 100
SHOWN_MAX = 40


@dataclass(frozen=True)
class Limits:
    """How much is read: bytes, levels of nesting, and values.

    A value of a few bytes takes a hundred in memory, so that bytes alone bound little.
    """

    bytes_max: int = 4 * 1024 * 1024
    depth_max: int = DEPTH_MAX
    values_max: int = 100_000


class Unreadable(NamedTuple):
    """Why a document is refused; `too_large` tells a size apart from a mistake."""

    detail: str
    errors: tuple[FieldError, ...] = ()
    too_large: bool = False


class _Pairs(list[tuple[str, Any]]):
    """An object as it was written, repeated names and all."""


class _Bad(NamedTuple):
    """A number that cannot be taken."""

    detail: str
    code: str


_DOUBTFUL = object()
_BLANKS = b" \t\n\r"


def read(raw: bytes, limits: Limits | None = None) -> object:
    """The value of a JSON document in UTF-8, or Unreadable.

    Refused: more bytes, values or levels than allowed, invalid UTF-8, repeated names in an object,
    NaN and infinities, integers beyond 2^53 - 1, NUL characters and lone surrogates in text.
    """
    limits = limits or Limits()
    too_large = _too_large(raw, limits)
    if too_large is not None:
        return too_large
    value = _read_plain(raw, limits)
    if value is not _DOUBTFUL:
        return value
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        return Unreadable(
            f"The body is not UTF-8: {error.reason} at byte {error.start}. Send UTF-8 JSON."
        )
    return _examine(text, limits)


def _too_large(raw: bytes, limits: Limits) -> Unreadable | None:
    remedy = "Post it in smaller batches."
    if len(raw) > limits.bytes_max:
        detail = f"The body has {len(raw)} bytes; at most {limits.bytes_max} are read. {remedy}"
        return Unreadable(detail, too_large=True)
    # at least as many as there are values, since those in text count as well
    marks = raw.count(b",") + raw.count(b"[") + raw.count(b"{")
    if marks > limits.values_max:
        detail = (
            f"The body has {marks} commas and opening brackets; at most {limits.values_max} are "
            f"read. {remedy}"
        )
        return Unreadable(detail, too_large=True)
    return None


def _read_plain(raw: bytes, limits: Limits) -> object:
    """The value of a document whose bytes are, but for blanks, those that its value is written as.

    Names that repeat, numbers of too many digits and what is no JSON come out otherwise, and
    without a backslash no character can be hidden. _DOUBTFUL where they are others.
    """
    if b"\\" in raw:
        return _DOUBTFUL
    try:
        value = orjson.loads(raw)
        written = orjson.dumps(value)
    except (orjson.JSONDecodeError, orjson.JSONEncodeError):
        return _DOUBTFUL
    if written != raw and written != _without_blanks(raw):
        return _DOUBTFUL
    return value if _is_within([value], limits.depth_max + 1) else _DOUBTFUL


def _without_blanks(raw: bytes) -> bytes:
    """A document without the blanks between its values; it has no backslash."""
    parts = raw.split(b'"')
    parts[::2] = [part.translate(None, _BLANKS) for part in parts[::2]]
    return b'"'.join(parts)


def _is_within(inner: Iterable[Any], depth_max: int) -> bool:
    """Whether no number is beyond those that a double tells apart, and nothing nests deeper."""
    for value in inner:
        kind = type(value)
        if kind is str or kind is bool or value is None:
            continue
        if kind is dict or kind is list:
            parts = value.values() if kind is dict else value
            if depth_max == 1 or not _is_within(parts, depth_max - 1):
                return False
        elif not -WHOLE_MAX <= value <= WHOLE_MAX:
            return False
    return True


def _malformed(error: json.JSONDecodeError, text: str) -> Unreadable:
    if text.startswith("\ufeff"):
        return Unreadable("The body begins with a byte order mark. Send UTF-8 JSON without one.")
    return Unreadable(
        f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
    )


def _too_deep(limits: Limits, pointer: str = "") -> Unreadable:
    detail = f"More than {limits.depth_max} levels of nesting. Flatten the value."
    return Unreadable("The body is nested too deeply.", (FieldError(pointer, detail, "too-deep"),))


def _number(digits: str) -> int | float | _Bad:
    value = float(digits)
    if math.isfinite(value) and abs(value) <= WHOLE_MAX:
        # a long run of digits can round to a double within the bounds
        if not digits.lstrip("-").isdigit():
            return value
        if len(digits) <= 17 and abs(int(digits)) <= WHOLE_MAX:
            return int(digits)
    shown = digits if len(digits) <= SHOWN_MAX else digits[:SHOWN_MAX] + "..."
    return _Bad(
        f"{shown} is beyond {WHOLE_MAX}, where numbers are no longer exact. "
        "Write a smaller number, or text.",
        "number-out-of-range",
    )


def _constant(name: str) -> _Bad:
    return _Bad(f"{name} is not JSON. Leave the member out.", "not-a-number")


_CAREFUL = json.JSONDecoder(
    object_pairs_hook=_Pairs,
    parse_int=_number,
    parse_float=_number,
    parse_constant=_constant,
)


def _examine(text: str, limits: Limits) -> object:
    """The value of a document read with care, or Unreadable."""
    try:
        document = _CAREFUL.decode(text)
    except json.JSONDecodeError as error:
        return _malformed(error, text)
    except RecursionError:
        return _too_deep(limits)
    try:
        errors = first_of(_all_faults(document, limits), ERRORS_MAX)
    except _TooDeepError as error:
        return _too_deep(limits, error.pointer)
    if not errors:
        return _plain_value(document)
    first = errors[0]
    where = first.pointer or "the whole document"
    return Unreadable(f"At {where}: {first.detail}", tuple(errors))


class _TooDeepError(ValueError):
    """A value nests deeper than is read."""

    def __init__(self, pointer: str) -> None:
        super().__init__(pointer)
        self.pointer = pointer


def _all_faults(document: object, limits: Limits) -> Iterator[FieldError]:
    """What is wrong, in the order of the document. Raises _TooDeepError."""
    for place, value, depth in _places(document):
        if depth > limits.depth_max:
            raise _TooDeepError(pointer_of(place))
        yield from _faults(place, value)


def _plain_value(value: Any) -> Any:
    """A value with dicts for the pairs of its objects."""
    if isinstance(value, _Pairs):
        return {name: _plain_value(inner) for name, inner in value}
    if isinstance(value, list):
        return [_plain_value(inner) for inner in value]
    return value


def _places(document: object) -> Iterator[tuple[Place, object, int]]:
    """Every value with its place and level, in the order of the document."""
    waiting: list[tuple[Place, object, int]] = [(None, document, 1)]
    while waiting:
        place, value, depth = waiting.pop()
        inner: Iterable[tuple[str | int, object]] = ()
        if isinstance(value, _Pairs):
            inner = value
        elif isinstance(value, list):
            inner = enumerate(value)
        yield place, value, depth if isinstance(value, list) else 0
        waiting.extend(reversed([((place, name), item, depth + 1) for name, item in inner]))


def _faults(place: Place, value: object) -> Iterator[FieldError]:
    if isinstance(value, _Bad):
        yield FieldError(pointer_of(place), value.detail, value.code)
    elif isinstance(value, str):
        yield from _text_faults(place, value, "The text")
    elif isinstance(value, _Pairs):
        seen: set[str] = set()
        for name, _ in value:
            yield from _text_faults(place, name, "A member's name")
            if name in seen:
                pointer = pointer_of((place, name))
                yield FieldError(pointer, "This name stands twice. Say it once.", "duplicate-name")
            seen.add(name)


def _text_faults(place: Place, text: str, what: str) -> Iterator[FieldError]:
    if "\0" in text:
        detail = f"{what} has a NUL character (\\u0000). Take it out."
        yield FieldError(pointer_of(place), detail, "nul-character")
    if not text.isascii() and any("\ud800" <= char <= "\udfff" for char in text):
        detail = f"{what} has half of a surrogate pair. Write the whole character."
        yield FieldError(pointer_of(place), detail, "lone-surrogate")
