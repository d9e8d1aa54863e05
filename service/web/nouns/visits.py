"""Visits, holds and lengths as answers show them."""

from collections.abc import Iterable, Sequence
from typing import Annotated

from msgspec import UNSET, UnsetType

from service.planning.plan.standing import STANDS, VisitStanding
from service.production.state import Node
from service.vocabulary.cautions import PEOPLE
from service.vocabulary.footage import Rate, footage, timecode
from service.web.answers import Day, Instant, Quantity, Shown, note, one_of
from service.web.nouns.values import shown_e4, shown_min, shown_us


class NodeShown(Shown):
    """A visit that is only named."""

    item: Annotated[str, note("The scene, element or episode.")]
    department: Annotated[str, note("The department.")]


class VisitShown(Shown):
    """One item's stay at one department: its newest take."""

    department: Annotated[str, note("The department.")]
    take: Annotated[int, note("Its newest take.")]
    state: Annotated[str, one_of(STANDS, "Where it stands.")]
    work: Annotated[Quantity, note("The work of this take, in the department's unit.")]
    unit: Annotated[str, note("The department's unit.")]
    artist: Annotated[str | None, note(f"Who has it, or was given it, as an opaque code. {PEOPLE}")]
    started_at: Annotated[Instant | None, note("When this take was started.")]
    handed_off_at: Annotated[Instant | None, note("When this take was handed off.")]
    projected_start_at: Annotated[
        Instant | None, note("When the plan has it start; null once it is on a desk.")
    ]
    projected_finish_at: Annotated[
        Instant | None, note("When the plan has it handed off; null once it is.")
    ]
    latest_finish_at: Annotated[
        Instant | None,
        note(
            "The latest finish that still holds the delivery dates behind it; "
            "1900-01-01T00:00:00Z also where it lies before. null: nothing is due behind it."
        ),
    ]
    overdue_since_at: Annotated[
        Instant | None,
        note(
            "On a desk: when its work should have been done, counted from its start in working "
            "time at the rate of then. Held: the end of the day by which the answer was due. At "
            "approval: when the answer should have come. null: it is in time, or lies nowhere."
        ),
    ]
    float_workdays: Annotated[
        int | None,
        note(
            "Working days it can slip before a delivery date is missed. Counted without crews: "
            "crews can eat it."
        ),
    ]
    must_fix: Annotated[bool, note("Whether a must-fix retake reopened it.")]
    waits_for_approval: Annotated[
        Sequence[str] | UnsetType,
        note("The elements that must be approved before it is handed off, and are not."),
    ] = UNSET
    marks: Annotated[
        Sequence[str] | UnsetType, note("What is unusual about its record, such as late.")
    ] = UNSET
    retakes: Annotated[Sequence[str] | UnsetType, note("The retakes that ask for this take.")] = (
        UNSET
    )
    because: Annotated[
        list[NodeShown] | UnsetType, note("From the visit that the retake names to this one.")
    ] = UNSET


class HoldShown(Shown):
    """What a scene waits for."""

    owes: Annotated[str, note("Who owes the answer.")]
    by_on: Annotated[Day, note("By when; the plan lets it go on the day after.")]
    since_at: Annotated[Instant, note("Since when.")]
    overdue_since_at: Annotated[
        Instant | None, note("The end of the day `by_on` where it is over; null before.")
    ]


class LengthShown(Shown):
    """A length."""

    frames_in_all: Annotated[int, note("The length in frames.")]
    feet: Annotated[int, note("Whole 35 mm feet: 16 frames each.")]
    frames: Annotated[int, note("Frames beyond the whole feet.")]
    timecode: Annotated[
        str,
        note(
            "The same as SMPTE time code at the show's rate; a semicolon where numbers are dropped."
        ),
    ]


class CountsShown(Shown):
    """How many visits stand where."""

    ahead: Annotated[int, note("How many are ahead.")]
    in_tray: Annotated[int, note("How many are in_tray.")]
    held: Annotated[int, note("How many are held.")]
    on_desk: Annotated[int, note("How many are on_desk.")]
    handed_off: Annotated[int, note("How many are handed_off.")]
    omitted: Annotated[int, note("How many are omitted.")]


def shown_visit(visit: VisitStanding) -> VisitShown:
    """A visit at one department, within its item."""
    return VisitShown(
        department=visit.department,
        take=visit.take,
        state=visit.stands.value,
        work=shown_e4(visit.work_e4),
        unit=visit.unit,
        artist=visit.artist,
        started_at=shown_us(visit.started_us),
        handed_off_at=shown_us(visit.handed_off_us),
        projected_start_at=shown_min(visit.projected_start_min),
        projected_finish_at=shown_min(visit.projected_finish_min),
        latest_finish_at=shown_min(visit.latest_finish_min),
        overdue_since_at=shown_min(visit.overdue_since_min),
        float_workdays=visit.float_workdays,
        must_fix=visit.must_fix,
        waits_for_approval=visit.unapproved or UNSET,
        marks=visit.marks or UNSET,
        retakes=visit.retakes or UNSET,
        because=shown_nodes(visit.because) if visit.retakes else UNSET,
    )


def shown_nodes(nodes: Iterable[Node]) -> list[NodeShown]:
    """Visits that are only named."""
    return [NodeShown(item=item, department=department) for item, department in nodes]


def shown_length(frames: int, rate: Rate) -> LengthShown:
    """A length in frames, as 35 mm feet and the frames beyond them, and as time code."""
    length = footage(frames)
    return LengthShown(
        frames_in_all=frames,
        feet=length.feet,
        frames=length.frames,
        timecode=timecode(frames, rate),
    )
