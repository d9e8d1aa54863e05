"""Facts of what work costs: the rate card of a show."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import ClassVar

from service.vocabulary import cautions
from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import CURRENCY, Day, Money, Quantity, Table, says


@dataclass(frozen=True, slots=True)
class RateSet(Fact):
    """A show's rate card: the price of each department's unit, from a date."""

    TYPE: ClassVar[str] = "rate.set"
    SUBJECTS = base.SHOW
    ROLES = base.BUSINESS
    CAUTIONS = (cautions.TAXES,)
    currency: str = says(CURRENCY, "The currency; a show keeps the one of its first card.")
    from_on: date = says(Day(), "Valid from this date, in the studio's zone, until the next card.")
    rates: tuple[tuple[str, Decimal], ...] = says(
        Table(Money()), "Price of one unit of each department's work, as decimal text."
    )
    credit_e4: int = says(
        Quantity(0, 10_000),
        "Which share of the price is credited for work that is no longer needed and has not "
        "started.",
        default=10_000,
    )
