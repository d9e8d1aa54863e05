"""Facts about the record itself."""

from dataclasses import dataclass
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact, Role
from service.vocabulary.kinds import CODE, POSITION, Label, Listing, Text, says


@dataclass(frozen=True, slots=True)
class EventStruck(Fact):
    """An event was a mistake in the record; it no longer counts, and stays in the log.

    A batch is decided without what it strikes: its strikes are recorded before its other events.

    Whoever may record an event may strike it. A strike by which a hard date would move, go, become
    soft or come back is the producer's alone, but that whoever made a date hard may strike that
    within an hour of recording it, as long as no other date was set; it says a reason.
    """

    TYPE: ClassVar[str] = "event.struck"
    SUBJECTS = base.STUDIO
    # whoever may record an event may strike it; that is checked against the struck event
    ROLES = frozenset(Role) - {Role.AUDITOR}
    position: int = says(POSITION, "The position of the event in the log.")
    why: str = says(Text(), "Why.")
    reason: str | None = says(
        Label(),
        "Why a hard date moves by it; needed where one does, and only there. Public and there for "
        "good, so no person's name.",
        default=None,
    )


@dataclass(frozen=True, slots=True)
class TextForgotten(Fact):
    """The personal text of some events was removed; what else they say stays.

    Recorded by commands alone: by `retake-ledger erase-text`, in the transaction that removes, and
    by `retake-ledger import`, of texts that are not in the export.
    """

    TYPE: ClassVar[str] = "text.forgotten"
    SUBJECTS = base.STUDIO
    ROLES = frozenset()  # the owner of the database, who has no token
    positions: tuple[int, ...] = says(
        Listing(POSITION, 1), "The positions of the events in the log."
    )
    by: str = says(CODE, "By whose order: the code of an office or a role, not a person's name.")
    ground: str = says(
        Label(), "On what ground, such as an article of law; it stays for good, so no names."
    )
