"""Facts of change orders: raised, priced, approved, declined, withdrawn."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import ClassVar

from service.vocabulary import cautions
from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.facts.office import FRAMES
from service.vocabulary.facts.retakes import KINDS, URGENCIES, Dependent
from service.vocabulary.facts.routes import GATES, STRANDS
from service.vocabulary.kinds import (
    AMOUNT,
    CURRENCY,
    DEPARTMENT,
    ELEMENT,
    EPISODE,
    ITEM,
    ORDER,
    POSITION,
    SCENE,
    SHARE,
    Choice,
    Day,
    Group,
    Label,
    Listing,
    Money,
    Quantity,
    Table,
    Text,
    Whole,
    says,
)

CHANGES = ("retake", "add", "retime", "omit", "restore", "redesign", "fee")
ORDERED_BY = ("client", "broadcaster", "studio")
LINES_MOST = 200


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One change of an order; which members it needs depends on `change`."""

    change: str = says(
        Choice(CHANGES),
        "Retake: items, back_to, strands, share or drawings. Add: a new scene, frames. Retime: "
        "scene, frames. Omit, restore: scene. Redesign: an element's new design. Fee: amount, "
        "what.",
    )
    scene: str | None = says(SCENE, "The scene added, retimed, omitted, restored.", default=None)
    element: str | None = says(ELEMENT, "The element redesigned.", default=None)
    items: tuple[str, ...] = says(
        Listing(ITEM, 1, 1000), "The items that a retake reopens.", default=()
    )
    back_to: str | None = says(
        DEPARTMENT, "From which department on a retake reopens.", default=None
    )
    strands: tuple[str, ...] = says(
        Listing(Choice(STRANDS), 1, 3), "What a retake touches.", default=()
    )
    share_e4: int | None = says(
        SHARE,
        "The share of the drawings that a retake touches; of a redesign all of them unless said.",
        default=None,
    )
    drawings: int | None = says(
        Whole(0, 1_000_000),
        "How many drawings: touched of each item, or of the scene added or retimed.",
        default=None,
    )
    urgency: str | None = says(
        Choice(URGENCIES), "How badly a retake is wanted; left out, must-fix.", default=None
    )
    kind: str | None = says(
        Choice(KINDS), "The kind of a retake; left out, a revision.", default=None
    )
    dependents: tuple[Dependent, ...] = says(
        Listing(Group(Dependent), 0, 1000),
        "Scenes for which a retake departs from the computed reach.",
        default=(),
    )
    frames: int | None = says(FRAMES, "Length of the scene added or retimed.", default=None)
    levels: int | None = says(
        Whole(0, 100), "How many levels of characters the scene added has.", default=None
    )
    difficulty: tuple[tuple[str, int], ...] = says(
        Table(Quantity(1, 1_000_000)), "Factor on the work of the scene added.", default=()
    )
    work: tuple[tuple[str, int], ...] = says(
        Table(AMOUNT), "Stated work of the scene added.", default=()
    )
    elements: tuple[str, ...] = says(
        Listing(ELEMENT, 0, 100), "The elements that the scene added uses.", default=()
    )
    amount: Decimal | None = says(
        Money(signed=True), "A fee; negative is a discount.", default=None
    )
    what: str | None = says(Label(), "What the fee is for.", default=None)


@dataclass(frozen=True, slots=True)
class ChangeOrderRaised(Fact):
    """Somebody asks for changes, which are to be priced before anybody makes them."""

    TYPE: ClassVar[str] = "change-order.raised"
    SUBJECTS = base.SHOW | base.EPISODE
    ROLES = base.SUPERVISION
    CAUTIONS = (cautions.TAXES,)
    order: str = says(ORDER, "The order's code, new in the studio.")
    asked_by: str = says(Choice(ORDERED_BY), "Who asks for it.")
    words: str = says(Text(), "What is asked for, in the asker's own words.")
    lines: tuple[OrderLine, ...] = says(
        Listing(Group(OrderLine), 0, LINES_MOST),
        "The changes; each is carried out after those before it.",
    )


@dataclass(frozen=True, slots=True)
class LineAmount:
    """What one line of an order comes to."""

    line: int = says(Whole(1, LINES_MOST), "Which line, counted from 1.")
    amount: Decimal = says(Money(signed=True), "Its amount; negative is a credit.")


@dataclass(frozen=True, slots=True)
class ChangeOrderPriced(Fact):
    """An order's price as it was quoted; `time` is the moment of the quote."""

    TYPE: ClassVar[str] = "change-order.priced"
    SUBJECTS = ChangeOrderRaised.SUBJECTS
    ROLES = base.SUPERVISION
    CAUTIONS = (cautions.TAXES,)
    order: str = says(ORDER, "The order.")
    position: int = says(POSITION, "The position of the log that the quote was made at.")
    currency: str = says(CURRENCY, "The currency, that of the show's rate card.")
    lines: tuple[LineAmount, ...] = says(
        Listing(Group(LineAmount), 0, LINES_MOST), "The amount of each line."
    )
    total: Decimal = says(Money(signed=True), "The sum of the lines.")
    valid_until: date | None = says(
        Day(), "The last day on which the order can be approved at this price.", default=None
    )


@dataclass(frozen=True, slots=True)
class GateMove:
    """A gate's new date."""

    episode: str = says(EPISODE, "The episode.")
    gate: str = says(Choice(GATES), "The gate.")
    due_on: date = says(Day(), "The date agreed.")


@dataclass(frozen=True, slots=True)
class ChangeOrderApproved(Fact):
    """An order is accepted at its price; the facts it consists of are recorded with it."""

    TYPE: ClassVar[str] = "change-order.approved"
    SUBJECTS = ChangeOrderRaised.SUBJECTS
    ROLES = base.PRODUCTION
    CAUTIONS = (cautions.TAXES,)
    order: str = says(ORDER, "The order.")
    position: int | None = says(
        POSITION,
        "The position that the price was made at, to approve at that price although a quote "
        "would differ now.",
        default=None,
    )
    gates: tuple[GateMove, ...] = says(
        Listing(Group(GateMove), 0, 100), "The dates that were agreed to move.", default=()
    )


@dataclass(frozen=True, slots=True)
class ChangeOrderDeclined(Fact):
    """An order is turned down; nothing else changes."""

    TYPE: ClassVar[str] = "change-order.declined"
    SUBJECTS = ChangeOrderRaised.SUBJECTS
    ROLES = base.PRODUCTION
    order: str = says(ORDER, "The order.")
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class ChangeOrderWithdrawn(Fact):
    """An order is taken back by those who raised it; nothing else changes."""

    TYPE: ClassVar[str] = "change-order.withdrawn"
    SUBJECTS = ChangeOrderRaised.SUBJECTS
    ROLES = base.LEADS
    order: str = says(ORDER, "The order.")
    why: str | None = says(Text(), "Why.", default=None)
