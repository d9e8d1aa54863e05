"""Money: decimal text outside, `Decimal` inside, in currencies of ISO 4217.

Prices by unit may be finer than a currency's minor unit; amounts are rounded to it, half to even.
"""

from decimal import ROUND_HALF_EVEN, Decimal

from iso4217 import Currency

MONEY = r"(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,4})?"
SIGNED_MONEY = rf"(?:-(?!0(?:\.0+)?$))?{MONEY}"
CURRENCY = r"[A-Z]{3}"

_KNOWN = {currency.code: currency.exponent for currency in Currency}


def is_currency(code: str) -> bool:
    """Whether money can be counted in it; gold and the testing code have no minor unit."""
    return _KNOWN.get(code) is not None


def decimals_of(currency: str) -> int:
    """How many decimals amounts of a currency have: 2 of EUR, 0 of JPY, 3 of KWD.

    Raises LookupError for a code that `is_currency` does not know.
    """
    decimals = _KNOWN.get(currency)
    if decimals is None:
        raise LookupError(f"{currency} is not a currency of ISO 4217 with a minor unit")
    return decimals


def rounded(amount: Decimal, currency: str) -> Decimal:
    """An amount to the currency's minor unit, half to even."""
    return amount.quantize(Decimal(1).scaleb(-decimals_of(currency)), rounding=ROUND_HALF_EVEN)


def money_text(amount: Decimal) -> str:
    """An amount as JSON has it: plain decimal text, no exponent, no sign at zero."""
    return f"{abs(amount) if amount == 0 else amount:f}"
