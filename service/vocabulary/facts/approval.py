"""Facts of approval: a new design is asked about, given, or refused."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import CODE, DEPARTMENT, SHARE, Choice, Text, says

APPROVERS = ("client", "broadcaster", "studio")


@dataclass(frozen=True, slots=True)
class ApprovalAsked(Fact):
    """A design is shown to whoever must approve it."""

    TYPE: ClassVar[str] = "approval.asked"
    SUBJECTS = base.ELEMENT
    ROLES = base.OFFICE | base.SUPERVISION
    of: str = says(Choice(APPROVERS), "Who is asked, and so owes the answer.", default="client")
    why: str | None = says(Text(), "What was sent with it.", default=None)


@dataclass(frozen=True, slots=True)
class ApprovalGiven(Fact):
    """A design is approved; scenes may use it."""

    TYPE: ClassVar[str] = "approval.given"
    SUBJECTS = base.ELEMENT
    ROLES = base.LEADS
    by: str = says(Choice(APPROVERS), "In whose name.")
    why: str | None = says(Text(), "What was said with it.", default=None)


@dataclass(frozen=True, slots=True)
class ApprovalRefused(Fact):
    """A design is not approved: it goes back as by a retake, and must be asked about again."""

    TYPE: ClassVar[str] = "approval.refused"
    SUBJECTS = base.ELEMENT
    ROLES = base.LEADS
    by: str = says(Choice(APPROVERS), "In whose name.")
    back_to: str | None = says(
        DEPARTMENT,
        "From which of its departments on; left out, the first that makes it.",
        default=None,
    )
    share_e4: int = says(SHARE, "The share of the work to be done again.", default=10_000)
    retake: str | None = says(
        CODE,
        "The code of the retake that it calls, new in the studio; left out, refused- and the "
        "position of this event.",
        default=None,
    )
    why: str | None = says(Text(), "What is wrong.", default=None)
