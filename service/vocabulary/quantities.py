"""Work, units and shares: JSON numbers outside, integers in ten-thousandths inside.

Sums of such integers are exact, so the same facts give the same plan on every machine.
"""

from decimal import Decimal, InvalidOperation

ONE_E4 = 10_000


def to_e4(number: int | float) -> int:
    """Ten-thousandths of a JSON number.

    Raises ValueError if the number is not finite or has more than four decimals.
    """
    if type(number) is int:
        return number * ONE_E4
    try:
        # repr gives the shortest digits that read back the same: what the poster wrote
        scaled = Decimal(repr(number)) * ONE_E4
        whole = int(scaled)
    except (InvalidOperation, ValueError, OverflowError):
        raise ValueError("not a finite number") from None
    if whole != scaled:
        raise ValueError("at most 4 decimals")
    return whole


def from_e4(amount_e4: int) -> int | float:
    """The JSON number: an integer where it is whole."""
    whole, rest = divmod(amount_e4, ONE_E4)
    return whole if rest == 0 else amount_e4 / ONE_E4


def ceil_div(dividend: int, divisor: int) -> int:
    """Quotient rounded up, for a positive divisor."""
    return -(-dividend // divisor)
