"""Facts of retakes: called, withdrawn, bought as is."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary import cautions
from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.facts.routes import STRANDS
from service.vocabulary.kinds import (
    CODE,
    DEPARTMENT,
    ITEM,
    SCENE,
    SHARE,
    Choice,
    Group,
    Listing,
    Text,
    Whole,
    says,
)

KINDS = ("correction", "retake", "revision")
URGENCIES = ("must-fix", "should-fix", "if-time")
ASKERS = ("studio", "client", "broadcaster", "standards")
MARKS = ("redo", "look-at", "leave")


@dataclass(frozen=True, slots=True)
class Dependent:
    """What the caller wants for a scene, where it departs from the computed reach."""

    scene: str = says(SCENE, "The scene.")
    mark: str = says(Choice(MARKS), "Redo, look at, or leave.")


@dataclass(frozen=True, slots=True)
class RetakeCalled(Fact):
    """A call that reopens visits, from a department on."""

    TYPE: ClassVar[str] = "retake.called"
    SUBJECTS = base.ITEM | base.SHOW
    ROLES = base.SUPERVISION
    CAUTIONS = (cautions.BLAME,)
    retake: str = says(CODE, "The retake's code, new in the studio.")
    kind: str = says(
        Choice(KINDS),
        "Correction: found before camera; retake: called after a screening; "
        "revision: a change of mind.",
    )
    urgency: str = says(Choice(URGENCIES), "How badly it is wanted.")
    back_to: str = says(DEPARTMENT, "From which department on.")
    strands: tuple[str, ...] = says(
        Listing(Choice(STRANDS), 1, 3), "What is touched; a retime of new action touches all."
    )
    items: tuple[str, ...] = says(
        Listing(ITEM, 1, 1000), "What is reopened; left out, the subject.", default=()
    )
    share_e4: int | None = says(SHARE, "The share of the drawings touched.", default=None)
    drawings: int | None = says(
        Whole(1, 1_000_000), "Or how many drawings, of each item.", default=None
    )
    levels: tuple[str, ...] = says(Listing(CODE, 0, 100), "Which levels.", default=())
    found_at: str | None = says(CODE, "Where it was found: a department, screening.", default=None)
    fault_of: str | None = says(DEPARTMENT, "Whose fault it is.", default=None)
    asked_by: str = says(Choice(ASKERS), "Who asks for it.", default="studio")
    dependents: tuple[Dependent, ...] = says(
        Listing(Group(Dependent), 0, 1000),
        "Scenes for which the caller departs from the computed reach.",
        default=(),
    )
    why: str | None = says(Text(), "What is wrong.", default=None)


@dataclass(frozen=True, slots=True)
class RetakeWithdrawn(Fact):
    """A retake is taken back; takes already begun go on."""

    TYPE: ClassVar[str] = "retake.withdrawn"
    SUBJECTS = RetakeCalled.SUBJECTS
    ROLES = base.SUPERVISION
    retake: str = says(CODE, "The retake.")
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class RetakeBoughtAsIs(Fact):
    """The called fault is left in; takes already begun go on."""

    TYPE: ClassVar[str] = "retake.bought-as-is"
    SUBJECTS = RetakeCalled.SUBJECTS
    ROLES = base.SUPERVISION
    retake: str = says(CODE, "The retake.")
    why: str | None = says(Text(), "Why.", default=None)
