"""Facts of talk: notes and their answers."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import CODE, DEPARTMENT, Text, says


@dataclass(frozen=True, slots=True)
class NoteGiven(Fact):
    """A remark on an item, to a department."""

    TYPE: ClassVar[str] = "note.given"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS | base.LEADS
    note: str = says(CODE, "The note's code, new in the studio.")
    to: str = says(DEPARTMENT, "To which department.")
    text: str = says(Text(), "The remark.")
    department: str | None = says(DEPARTMENT, "From which department.", default=None)


@dataclass(frozen=True, slots=True)
class NoteAnswered(Fact):
    """A note is answered."""

    TYPE: ClassVar[str] = "note.answered"
    SUBJECTS = base.ITEM
    ROLES = base.DESKS | base.LEADS
    note: str = says(CODE, "The note's code.")
    department: str | None = says(DEPARTMENT, "Which department answers.", default=None)
    text: str | None = says(Text(), "The answer.", default=None)
