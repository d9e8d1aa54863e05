"""Facts of the office: calendars, crews, shows, episodes, scenes, elements, gates."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from service.vocabulary import cautions
from service.vocabulary.facts import base
from service.vocabulary.facts.base import Fact
from service.vocabulary.facts.routes import GATES, STRANDS
from service.vocabulary.footage import RATES
from service.vocabulary.kinds import (
    AMOUNT,
    CODE,
    DEPARTMENT,
    SCENE,
    SHAPE,
    Choice,
    ClockTime,
    Code,
    Day,
    Flag,
    Group,
    Label,
    Listing,
    Quantity,
    Table,
    Text,
    Whole,
    says,
)

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
FRAMES = Whole(1, 10_000_000)


@dataclass(frozen=True, slots=True)
class ShiftHours:
    """Working hours on some days of the week; closing before opening means the next day."""

    days: tuple[str, ...] = says(Listing(Choice(WEEKDAYS), 1, 7), "Days of the week.")
    opens_min: int = says(ClockTime(), "Wall time of opening, HH:MM.")
    closes_min: int = says(ClockTime(), "Wall time of closing, HH:MM.")


@dataclass(frozen=True, slots=True)
class CalendarSet(Fact):
    """Working hours and days off, of the studio or of one department, from a date.

    Until its own hours begin a department keeps the studio's.
    """

    TYPE: ClassVar[str] = "calendar.set"
    SUBJECTS = base.STUDIO
    ROLES = base.OFFICE
    CAUTIONS = (cautions.HOURS,)
    from_on: date = says(Day(), "In force from this date.")
    shifts: tuple[ShiftHours, ...] = says(Listing(Group(ShiftHours), 0, 28), "Working hours.")
    days_off: tuple[date, ...] = says(
        Listing(Day(), 0, 1000), "Holidays and other days off.", default=()
    )
    department: str | None = says(
        DEPARTMENT, "Whose calendar; left out, the studio's.", default=None
    )
    zone: str | None = says(
        Code(r"^[A-Za-z0-9_+-]+(?:/[A-Za-z0-9_+-]+)*$", "an IANA time zone"),
        "The studio's time zone (with the studio's first calendar).",
        default=None,
    )


@dataclass(frozen=True, slots=True)
class CrewSet(Fact):
    """How many artists a department has and what one of them does in a day, from a date."""

    TYPE: ClassVar[str] = "crew.set"
    SUBJECTS = base.STUDIO
    ROLES = base.OFFICE
    CAUTIONS = (cautions.HOURS,)
    department: str = says(DEPARTMENT, "The department.")
    artists: int = says(Whole(0, 10_000), "How many artists.")
    units_per_artist_day_e4: int = says(
        Quantity(1, 100_000 * 10_000), "What one artist does in a day, in the department's unit."
    )
    minutes_per_artist_day: int = says(Whole(1, 1440), "Working minutes of an artist's day.")
    from_on: date = says(Day(), "In force from this date.")


@dataclass(frozen=True, slots=True)
class ShowOpened(Fact):
    """A series enters the studio."""

    TYPE: ClassVar[str] = "show.opened"
    SUBJECTS = base.SHOW
    ROLES = base.OFFICE
    title: str = says(Label(), "The show's title.")
    frames_per_second: int = says(
        Whole(1, 120), "Frame rate, as time code numbers it: 30 where 29.97 pass.", default=24
    )
    timecode: str | None = says(
        Choice(tuple(RATES)),
        "How time code numbers its frames; left out, all of them, at its frame rate.",
        default=None,
    )
    scene_codes: tuple[str, ...] = says(
        Listing(SHAPE, 0, 20),
        "How the codes of its scenes look, any of these: # is a number, several # that many "
        "digits, @ a capital letter, all else stands for itself. Left out, any code is taken.",
        default=(),
    )


@dataclass(frozen=True, slots=True)
class EpisodeOpened(Fact):
    """An episode enters the line, by the show's route in force."""

    TYPE: ClassVar[str] = "episode.opened"
    SUBJECTS = base.EPISODE
    ROLES = base.OFFICE
    title: str = says(Label(), "The episode's title.")
    frames: int | None = says(
        FRAMES,
        "Its format length: how many frames it must come to; its own work is counted by them. Left "
        "out, it has no format, and is as long as its scenes.",
        default=None,
    )
    difficulty: tuple[tuple[str, int], ...] = says(
        Table(Quantity(1, 1_000_000)), "Factor on the work by department.", default=()
    )
    work: tuple[tuple[str, int], ...] = says(
        Table(AMOUNT), "Stated work by department, in its unit.", default=()
    )


@dataclass(frozen=True, slots=True)
class GateSet(Fact):
    """A date an episode must meet.

    A hard one moves, or becomes soft, by an approved change order alone, or by the producer who
    says why; `event.struck` says who strikes one. Of a delivered episode no date is set but air.
    """

    TYPE: ClassVar[str] = "gate.set"
    VERSION: ClassVar[int] = 2
    SUBJECTS = base.EPISODE
    ROLES = base.OFFICE | base.LEADS
    gate: str = says(Choice(GATES), "The gate.")
    due_on: date = says(Day(), "The date; due at the end of that day in the studio's zone.")
    hard: bool | None = says(
        Flag(),
        "Whether the date cannot move. Left out, as it was, and soft where it was not set.",
        default=None,
    )
    reason: str | None = says(
        Label(),
        "Why it is this date; needed where a hard one moves. Public and there for good, so no "
        "person's name.",
        default=None,
    )


@dataclass(frozen=True, slots=True)
class SceneListed(Fact):
    """A scene of an episode, as the board and the sheets give it."""

    TYPE: ClassVar[str] = "scene.listed"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE
    frames: int = says(FRAMES, "Length in frames.")
    drawings: int = says(Whole(0, 1_000_000), "How many drawings.", default=0)
    levels: int = says(Whole(0, 100), "How many levels of characters.", default=1)
    difficulty: tuple[tuple[str, int], ...] = says(
        Table(Quantity(1, 1_000_000)), "Factor on the work by department.", default=()
    )
    work: tuple[tuple[str, int], ...] = says(
        Table(AMOUNT), "Stated work by department, in its unit.", default=()
    )


@dataclass(frozen=True, slots=True)
class SceneRetimed(Fact):
    """A scene's new length: work not yet done follows it, what was handed off before stays."""

    TYPE: ClassVar[str] = "scene.retimed"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE | base.SUPERVISION
    frames: int = says(FRAMES, "New length in frames.")
    drawings: int | None = says(
        Whole(0, 1_000_000), "New number of drawings; left out, unchanged.", default=None
    )


@dataclass(frozen=True, slots=True)
class SceneOmitted(Fact):
    """A scene is taken out of the picture; desks are freed of what nobody needs any more."""

    TYPE: ClassVar[str] = "scene.omitted"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE | base.SUPERVISION
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class SceneRestored(Fact):
    """An omitted scene comes back, its visits as they were."""

    TYPE: ClassVar[str] = "scene.restored"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE | base.SUPERVISION
    why: str | None = says(Text(), "Why.", default=None)


@dataclass(frozen=True, slots=True)
class ElementListed(Fact):
    """Something made once and used by several scenes."""

    TYPE: ClassVar[str] = "element.listed"
    SUBJECTS = base.ELEMENT
    ROLES = base.OFFICE
    kind: str = says(CODE, "Which of the route's kinds of element.")
    title: str | None = says(Label(), "A short public title.", default=None)
    drawings: int = says(Whole(0, 1_000_000), "How many drawings.", default=0)
    frames: int | None = says(FRAMES, "Length in frames, for a cycle or a track.", default=None)
    difficulty: tuple[tuple[str, int], ...] = says(
        Table(Quantity(1, 1_000_000)), "Factor on the work by department.", default=()
    )
    work: tuple[tuple[str, int], ...] = says(
        Table(AMOUNT), "Stated work by department, in its unit.", default=()
    )


@dataclass(frozen=True, slots=True)
class ElementUsed(Fact):
    """Scenes that use an element."""

    TYPE: ClassVar[str] = "element.used"
    SUBJECTS = base.ELEMENT
    ROLES = base.OFFICE | base.SUPERVISION
    scenes: tuple[str, ...] = says(Listing(SCENE, 1, 1000), "The scenes.")


@dataclass(frozen=True, slots=True)
class HookUpDeclared(Fact):
    """The end of the subject scene must match the start of the next."""

    TYPE: ClassVar[str] = "hook-up.declared"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE | base.SUPERVISION
    to: str = says(SCENE, "The scene whose start must match.")


@dataclass(frozen=True, slots=True)
class SameAsDeclared(Fact):
    """The subject scene reuses another scene's, from a department on."""

    TYPE: ClassVar[str] = "same-as.declared"
    SUBJECTS = base.SCENE
    ROLES = base.OFFICE | base.SUPERVISION
    source: str = says(SCENE, "The scene it reuses.")
    joins: str = says(DEPARTMENT, "The department where it joins its source.")
    strands: tuple[str, ...] = says(Listing(Choice(STRANDS), 1, 3), "What is reused.")
    levels: tuple[str, ...] = says(
        Listing(CODE, 0, 100),
        "Named levels, where only these are reused; the scene then keeps all its own visits.",
        default=(),
    )
