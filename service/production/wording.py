"""Parts of the sentences that tell facts. Nothing that people wrote is in them."""

from typing import Any

from service.vocabulary.quantities import from_e4


def counted(count: int, word: str) -> str:
    """A count with its noun, in the plural where it is not one."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def percent(share_e4: int) -> str:
    """A share in ten-thousandths as a percentage."""
    return f"{from_e4(share_e4 * 100):g} %"


def if_said(before: str, value: object) -> str:
    """A part of a sentence about a member that may be left out."""
    return "" if value is None else f"{before}{value}"


def of_take(fact: Any) -> str:
    """Which take a fact is of, where it says so."""
    return if_said(", take ", fact.take)


def drawings_of(fact: Any) -> str | None:
    """How many drawings a fact says, where it does."""
    return None if fact.drawings is None else counted(fact.drawings, "drawing")


def because(fact: Any) -> str:
    """The reason of a fact, where it has one."""
    return "" if fact.reason is None else f", because: {fact.reason.rstrip('.')}"
