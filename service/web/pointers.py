"""Where an error is: JSON pointers (RFC 6901) and the error that carries one."""

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any, NamedTuple, TypeAlias

POINTERS_MAX = 64 * 1024


class FieldError(NamedTuple):
    """One thing wrong: where, what and its remedy, and the stable name of what is wrong.

    `pointer` is a JSON pointer into the body ("" is all of it), or ``?name`` for an argument of
    the query.
    """

    pointer: str
    detail: str
    code: str


def step(name: str | int) -> str:
    """One reference token of a pointer, with its slash."""
    return "/" + str(name).replace("~", "~0").replace("/", "~1")


Place: TypeAlias = "tuple[Place, str | int] | None"
"""Where a value lies: the place of what it lies in, and its name or number there. None: the whole.

Names may be long and have many values beneath them, so a pointer is made only where one is told.
"""


def pointer_of(place: Place) -> str:
    """The pointer to a place."""
    steps: list[str] = []
    while place is not None:
        place, name = place
        steps.append(step(name))
    return "".join(reversed(steps))


def first_of(errors: Iterable[FieldError], most: int) -> list[FieldError]:
    """The first of errors: so many at most, and none behind POINTERS_MAX characters of pointers."""
    found: list[FieldError] = []
    length = 0
    for error in islice(errors, most):
        found.append(error)
        length += len(error.pointer)
        if length >= POINTERS_MAX:
            break
    return found


def split(pointer: str) -> list[str]:
    """The reference tokens of a pointer."""
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def put(document: dict[str, Any], pointer: str, value: Any) -> None:
    """Put a value where a pointer says, in place; the members on the way must exist.

    Raises KeyError or IndexError where the way does not exist: the two do not belong together.
    """
    *way, last = split(pointer)
    place: Any = document
    for part in way:
        place = place[part] if isinstance(place, Mapping) else place[int(part)]
    place[last] = value
