"""Facts about the record itself."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact, Role
from service.vocabulary.kinds import Text, Whole, says


@dataclass(frozen=True, slots=True)
class EventStruck(Fact):
    """An event was a mistake in the record; it no longer counts, and stays in the log."""

    TYPE: ClassVar[str] = "event.struck"
    SUBJECTS = base.STUDIO
    # whoever may record an event may strike it; that is checked against the struck event
    ROLES = frozenset(Role) - {Role.AUDITOR}
    position: int = says(Whole(1, 2**53), "The position of the event in the log.")
    why: str = says(Text(), "Why.")
