"""The fact that lays a show's route, and what it is made of."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import (
    AMOUNT,
    CODE,
    DEPARTMENT,
    Choice,
    Day,
    Group,
    Listing,
    Quantity,
    Whole,
    says,
)

STRANDS = ("background", "character", "sound")
GRAINS = ("episode", "scene", "element")
UNITS = ("episodes", "scenes", "drawings", "feet", "paintings")
GATES = ("rough-cut", "lock", "retake-cut-off", "delivery", "air")


@dataclass(frozen=True, slots=True)
class Arc:
    """One department that another follows, and what passes between them."""

    department: str = says(DEPARTMENT, "The department that hands off.")
    strands: tuple[str, ...] = says(Listing(Choice(STRANDS), 1, 3), "What the arc carries.")


@dataclass(frozen=True, slots=True)
class RouteDepartment:
    """How one department stands in a route."""

    department: str = says(DEPARTMENT, "The department.")
    grain: str = says(Choice(GRAINS), "What one visit is a visit of.")
    unit: str = says(Choice(UNITS), "What its work is counted in.")
    follows: tuple[Arc, ...] = says(Listing(Group(Arc), 0, 20), "Who hands off to it.", default=())
    redo: str = says(
        Choice(("part", "whole")),
        "Whether a retake redoes the share touched, or the whole again (checks, camera).",
        default="part",
    )
    least_e4: int = says(AMOUNT, "The least work a redo costs, in its unit.", default=0)
    drawings_part_e4: int = says(
        Quantity(0, 10_000), "Which part of a scene's drawings it makes.", default=10_000
    )


@dataclass(frozen=True, slots=True)
class KindApproval:
    """What waits until an element of a kind is approved."""

    before: str = says(DEPARTMENT, "Scenes that use it wait for the approval before this one.")
    days: int = says(Whole(1, 250), "How many working days the answer usually takes.")


@dataclass(frozen=True, slots=True)
class ElementKind:
    """Who makes the elements of a kind, and which visit they feed in scenes that use them."""

    kind: str = says(CODE, "The kind: background, model-sheet, cycle and so on.")
    departments: tuple[str, ...] = says(Listing(DEPARTMENT, 1, 20), "Which departments make it.")
    feeds: str = says(DEPARTMENT, "The department whose visit it feeds in scenes that use it.")
    strand: str = says(Choice(STRANDS), "What the element carries.")
    replaces: tuple[str, ...] = says(
        Listing(DEPARTMENT, 0, 20),
        "Departments that a scene which uses such an element does not visit itself.",
        default=(),
    )
    approval: KindApproval | None = says(
        Group(KindApproval), "That it must be approved; left out, it need not be.", default=None
    )


@dataclass(frozen=True, slots=True)
class RouteGate:
    """Which department's hand-offs meet a gate."""

    gate: str = says(Choice(GATES), "The gate.")
    department: str = says(DEPARTMENT, "The department whose hand-offs meet it.")
    takes: str = says(Choice(("first", "final")), "Whether first takes suffice.", default="final")


@dataclass(frozen=True, slots=True)
class RouteLaid(Fact):
    """A show's route: departments, arcs, element kinds and gates, for items listed from a date."""

    TYPE: ClassVar[str] = "route.laid"
    SUBJECTS = base.SHOW
    ROLES = base.OFFICE
    departments: tuple[RouteDepartment, ...] = says(
        Listing(Group(RouteDepartment), 1, 40), "The departments, in the order of the line."
    )
    gates: tuple[RouteGate, ...] = says(
        Listing(Group(RouteGate), 1, 5), "What meets each gate; delivery must be among them."
    )
    kinds: tuple[ElementKind, ...] = says(
        Listing(Group(ElementKind), 0, 40), "The kinds of element.", default=()
    )
    from_on: date | None = says(
        Day(), "Items listed from this date take this route; left out, at once.", default=None
    )
