"""Values as JSON shows them."""

from datetime import date
from typing import overload

from service.vocabulary.instants import NOT_YET_US, format_instant, format_min
from service.vocabulary.quantities import from_e4


def shown_us(at_us: int | None) -> str | None:
    """An instant in microseconds; NOT_YET_US is none."""
    return None if at_us is None or at_us == NOT_YET_US else format_instant(at_us)


@overload
def shown_min(at_min: int) -> str: ...
@overload
def shown_min(at_min: int | None) -> str | None: ...
def shown_min(at_min: int | None) -> str | None:
    """An instant in minutes."""
    return None if at_min is None else format_min(at_min)


@overload
def shown_on(on: date) -> str: ...
@overload
def shown_on(on: date | None) -> str | None: ...
def shown_on(on: date | None) -> str | None:
    """A date."""
    return None if on is None else on.isoformat()


@overload
def shown_e4(amount_e4: int) -> float: ...
@overload
def shown_e4(amount_e4: int | None) -> float | None: ...
def shown_e4(amount_e4: int | None) -> float | None:
    """A quantity in ten-thousandths."""
    return None if amount_e4 is None else from_e4(amount_e4)
