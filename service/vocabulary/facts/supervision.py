"""Facts of supervision: holds, orders that override the dispatch rule, answers, acceptance."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.kinds import CODE, DEPARTMENT, Choice, Day, Text, Whole, says


@dataclass(frozen=True, slots=True)
class SceneHeld(Fact):
    """A scene waits for an answer; nothing of it starts."""

    TYPE: ClassVar[str] = "scene.held"
    SUBJECTS = base.SCENE
    ROLES = base.SUPERVISION
    owes: str = says(CODE, "Who owes the answer: a department, client, broadcaster, producer.")
    by_on: date = says(Day(), "By when; the plan lets it go on the day after.")
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class SceneFreed(Fact):
    """A held scene may go on."""

    TYPE: ClassVar[str] = "scene.freed"
    SUBJECTS = base.SCENE
    ROLES = base.SUPERVISION
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class VisitPutFirst(Fact):
    """An order that overrides the dispatch rule; the latest order goes first."""

    TYPE: ClassVar[str] = "visit.put-first"
    SUBJECTS = base.ITEM
    ROLES = base.SUPERVISION
    department: str = says(DEPARTMENT, "In which department's tray.")


@dataclass(frozen=True, slots=True)
class PrioritySet(Fact):
    """A priority for an item, or for all of an episode; higher goes first, 0 is usual.

    What is set for a scene counts before what is set for its episode, 0 included.
    """

    TYPE: ClassVar[str] = "priority.set"
    SUBJECTS = base.ITEM
    ROLES = base.LEADS
    priority: int | None = says(
        Whole(-1000, 1000),
        "The priority; left out, a scene takes its episode's again, and anything else is usual.",
        default=None,
    )


@dataclass(frozen=True, slots=True)
class LookAtAnswered(Fact):
    """A scene that somebody had to look at is fine as it is, or to be redone.

    It was listed by a retake, or because it changed after work on it had begun.
    """

    TYPE: ClassVar[str] = "look-at.answered"
    SUBJECTS = base.SCENE
    ROLES = base.SUPERVISION
    answer: str = says(Choice(("fine", "redo")), "Fine as it is, or to be redone.")
    retake: str | None = says(
        CODE,
        "The retake that listed it; left out, all that is to look at because the scene changed: "
        "the answer is then fine, or else a retake is called.",
        default=None,
    )
    back_to: str | None = says(
        DEPARTMENT,
        "Where the redo begins; left out, where the retake reaches the scene or began.",
        default=None,
    )
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class SceneBought(Fact):
    """A scene is accepted."""

    TYPE: ClassVar[str] = "scene.bought"
    SUBJECTS = base.SCENE
    ROLES = base.SUPERVISION


@dataclass(frozen=True, slots=True)
class EpisodeDelivered(Fact):
    """An episode has left the studio."""

    TYPE: ClassVar[str] = "episode.delivered"
    SUBJECTS = base.EPISODE
    ROLES = base.OFFICE | base.LEADS
