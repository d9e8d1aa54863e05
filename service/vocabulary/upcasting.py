"""How the data of older versions of a type become those of the version this release has.

A type's version is its fact's `VERSION`, 1 unless it says otherwise. The log says an event's
version in `typeversion` where it is not 1. What is recorded is never rewritten: it is read through
the steps here, each from one version to the next.
"""

from collections.abc import Callable, Mapping
from typing import Any

VERSION_MEMBER = "typeversion"
"""The member of a recorded event that says its version. It is not content: a post that is repeated
is the same, whichever release took it.
"""

Upcaster = Callable[[Mapping[str, Any]], Mapping[str, Any]]
"""From the public data of a version, as JSON, to those of the next; pure, and total over what the
rules let be recorded. Personal text is not there: it stays under the pointers of its own version.
"""


def _hard_was_said(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """In version 1 a gate that was not said to be hard was soft; since 2 it stays as it was."""
    return {"hard": False, **data}


UPCASTERS: Mapping[tuple[str, int], Upcaster] = {("gate.set", 1): _hard_was_said}
"""By type and the version to start from. A step stays for good once a release has written it."""


class MissingUpcasterError(LookupError):
    """There is no way from a past version of a type to the present one."""


def upcaster(
    type_: str, version: int, present: int, steps: Mapping[tuple[str, int], Upcaster] = UPCASTERS
) -> Upcaster:
    """The way from the data of a version of a type to those of the present one.

    Raises MissingUpcasterError.
    """
    way = []
    for at in range(version, present):
        step = steps.get((type_, at))
        if step is None:
            raise MissingUpcasterError(f"{type_}: no step from version {at} to {at + 1}")
        way.append(step)

    def upcast(data: Mapping[str, Any]) -> Mapping[str, Any]:
        for step in way:
            data = step(data)
        return data

    return upcast
