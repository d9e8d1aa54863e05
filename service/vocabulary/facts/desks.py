"""Facts of the desks: hand-outs, starts, hand-offs, refusals, stoppages."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary import cautions
from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import CODE, DEPARTMENT, SHARE, TAKE, Moment, Text, says

WHICH_TAKE = "Which take; left out, the one that was open at the event's time."


@dataclass(frozen=True, slots=True)
class HandOutMade(Fact):
    """A department gives an item to one of its artists."""

    TYPE: ClassVar[str] = "hand-out.made"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS
    CAUTIONS = (cautions.PEOPLE,)
    department: str = says(DEPARTMENT, "The department.")
    artist: str = says(CODE, "The artist, as an opaque code, never a name.")
    take: int | None = says(TAKE, WHICH_TAKE, default=None)


@dataclass(frozen=True, slots=True)
class HandOutWithdrawn(Fact):
    """A department takes back what it gave to an artist who has not started it."""

    TYPE: ClassVar[str] = "hand-out.withdrawn"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS
    department: str = says(DEPARTMENT, "The department.")
    take: int | None = says(TAKE, WHICH_TAKE, default=None)


@dataclass(frozen=True, slots=True)
class WorkStarted(Fact):
    """A visit is on a desk."""

    TYPE: ClassVar[str] = "work.started"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS
    CAUTIONS = (cautions.PEOPLE,)
    department: str = says(DEPARTMENT, "The department.")
    artist: str | None = says(CODE, "The artist, as an opaque code.", default=None)
    take: int | None = says(TAKE, WHICH_TAKE, default=None)


@dataclass(frozen=True, slots=True)
class HandOffMade(Fact):
    """A department releases a finished visit to the next ones."""

    TYPE: ClassVar[str] = "hand-off.made"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS
    department: str = says(DEPARTMENT, "The department that hands off.")
    take: int | None = says(TAKE, WHICH_TAKE, default=None)


@dataclass(frozen=True, slots=True)
class HandOffRefused(Fact):
    """The receiver sends a hand-off back at once; the sender's take goes on."""

    TYPE: ClassVar[str] = "hand-off.refused"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS
    department: str = says(DEPARTMENT, "The department that refuses.")
    sender: str = says(DEPARTMENT, "The department whose hand-off it is.")
    share_e4: int = says(SHARE, "The share of the work to be done again.", default=10_000)
    take: int | None = says(TAKE, "Which take of the sender.", default=None)
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class DepartmentStopped(Fact):
    """A department stops work; of one that is stopped, when it is now expected to go on.

    Left out then, the end that was expected is taken back: nobody knows it any more. Until its end
    is known, plans take it to last to the end of the day at which they are made.
    """

    TYPE: ClassVar[str] = "department.stopped"
    SUBJECTS = base.STUDIO
    ROLES = base.DESKS | base.OFFICE
    department: str = says(DEPARTMENT, "The department.")
    expected_end_at_us: int | None = says(
        Moment(), "When it is expected to go on; left out, nobody knows yet.", default=None
    )
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class DepartmentResumed(Fact):
    """A stopped department goes on."""

    TYPE: ClassVar[str] = "department.resumed"
    SUBJECTS = base.STUDIO
    ROLES = base.DESKS | base.OFFICE
    department: str = says(DEPARTMENT, "The department.")
