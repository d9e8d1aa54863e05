"""Change orders as the record knows them."""

from datetime import date
from decimal import Decimal
from typing import NamedTuple

from service.vocabulary.facts.orders import GateMove, OrderLine


class OrderStep(NamedTuple):
    """One thing said of an order: what it then was, where and when, and who said it."""

    standing: str
    position: int
    at_us: int
    poster: str
    role: str


class OrderPrice(NamedTuple):
    """What an order was priced at; `position` is that of the log the quote was made at."""

    position: int
    currency: str
    amounts: tuple[Decimal, ...]  # by line
    total: Decimal
    valid_until: date | None


class Order(NamedTuple):
    """A change order: its lines, and what was said of it, in order of position."""

    subject: str
    asked_by: str
    lines: tuple[OrderLine, ...]
    steps: tuple[OrderStep, ...]
    price: OrderPrice | None = None
    gates: tuple[GateMove, ...] = ()  # agreed with the approval

    @property
    def standing(self) -> str:
        """Raised, priced, approved, declined or withdrawn."""
        return self.steps[-1].standing

    @property
    def show(self) -> str:
        """The show it is about."""
        return self.subject.partition("-")[0]
