"""Impacts as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from service.planning.compare.impact import EpisodeImpact, GateImpact, Impact, Reopened, SceneImpact
from service.production.records import CHANGES
from service.vocabulary import cautions
from service.vocabulary.facts.routes import GATES
from service.vocabulary.instants import format_min
from service.web.answers import (
    Day,
    Instant,
    Quantity,
    ReadShown,
    Shown,
    SuppositionShown,
    note,
    one_of,
)
from service.web.nouns.stoppages import shown_suppositions
from service.web.nouns.values import (
    shown_e4,
    shown_min,
    shown_on,
)
from service.web.nouns.visits import NodeShown, shown_nodes

CAUTIONS = (cautions.FLOAT, cautions.HOURS)


class ReopenedShown(Shown):
    """A visit that is reopened, or asked for more."""

    item: Annotated[str, note("The scene, element or episode.")]
    department: Annotated[str, note("The department.")]
    take: Annotated[int, note("The take it makes.")]
    work: Annotated[Quantity, note("That take's work.")]
    unit: Annotated[str, note("The department's unit.")]
    retake: Annotated[str, note("The retake.")]
    because: Annotated[list[NodeShown], note("From the visit that the retake names to this one.")]
    planned: Annotated[
        bool,
        note(
            "Whether it is planned. A visit of an omitted scene or of a delivered episode is not, "
            "unless others reuse it: it adds to no department's work and moves nothing."
        ),
    ]


class ToLookAtShown(Shown):
    """A scene that somebody must look at."""

    scene: Annotated[str, note("The scene.")]
    retake: Annotated[str | None, note("The retake that asks; null: the scene changed.")]
    reason: Annotated[str, one_of(("hook-up", "marked", *CHANGES), "Why.")]
    visits: Annotated[list[NodeShown], note("What had begun before the scene changed.")]


class StillNeededShown(Shown):
    """A visit of a scene that leaves the picture, which stays planned because others reuse it."""

    item: Annotated[str, note("The scene.")]
    department: Annotated[str, note("The department.")]
    needed_by: Annotated[
        Sequence[str], note("Scenes in the picture that reuse what is made there.")
    ]


class AddedShown(Shown):
    """Work that a department has more, or less, to do."""

    department: Annotated[str, note("The department.")]
    added_work: Annotated[Quantity, note("How much, in its unit.")]
    unit: Annotated[str, note("Its unit.")]
    added_artist_days: Annotated[
        Quantity | None, note("The same in artist-days; null without a crew.")
    ]


class MovedShown(Shown):
    """A scene whose last hand-off moves, or that was done and is open again, or the other way."""

    scene: Annotated[str, note("The scene.")]
    finish_before: Annotated[
        Instant | None,
        note(
            "The last hand-off without the change: made where the scene was done, else projected."
        ),
    ]
    finish_after: Annotated[Instant | None, note("The same with it.")]
    open_before: Annotated[
        bool, note("Whether some visit of it is not handed off without the change.")
    ]
    open_after: Annotated[bool, note("The same with it.")]
    slip_workdays: Annotated[
        int | None,
        note(
            "Working days between them; null unless it is open in both, for from when a scene was "
            "done days may have passed in which nothing was owed."
        ),
    ]


class GateMovedShown(Shown):
    """A gate without and with the change."""

    gate: Annotated[str, one_of(GATES, "The gate.")]
    due_on: Annotated[Day | None, note("The date; null: not set.")]
    hard: Annotated[bool, note("Whether the date cannot move.")]
    met_before: Annotated[
        Day | None, note("When it was first met without the change; null: not yet.")
    ]
    met_after: Annotated[Day | None, note("When it was first met with it.")]
    projected_before: Annotated[
        Day | None, note("Since when it stands met, or when the plan meets it, without.")
    ]
    projected_after: Annotated[Day | None, note("The same with the change.")]
    margin_workdays_before: Annotated[int | None, note("The margin without the change.")]
    margin_workdays_after: Annotated[int | None, note("The margin with it.")]
    date_holds: Annotated[
        bool | None,
        note("Whether the date holds with the change; null where none is set or nothing meets it."),
    ]


class EpisodeMovedShown(Shown):
    """An episode without and with the change."""

    episode: Annotated[str, note("The episode.")]
    gates: Annotated[list[GateMovedShown], note("All its gates.")]
    due_on: Annotated[Day | None, note("When its delivery is due; null: not set.")]
    delivery_before: Annotated[Day | None, note("Its projected delivery without the change.")]
    delivery_after: Annotated[Day | None, note("Its projected delivery with it.")]
    margin_workdays_before: Annotated[int | None, note("The margin without the change.")]
    margin_workdays_after: Annotated[int | None, note("The margin with it; negative is late.")]
    date_holds: Annotated[
        bool | None, note("Whether the delivery date holds with the change, as its gate says.")
    ]


class ImpactShown(ReadShown, kw_only=True):
    """What a change does: the plan with it minus the plan without it, at one moment."""

    reopened: Annotated[list[ReopenedShown], note("Visits that are reopened.")]
    to_look_at: Annotated[list[ToLookAtShown], note("Scenes that somebody must look at.")]
    still_needed: Annotated[
        list[StillNeededShown],
        note("Visits of scenes that leave the picture, still planned for others."),
    ]
    departments: Annotated[list[AddedShown], note("Work added, by department.")]
    scenes: Annotated[list[MovedShown], note("Scenes that move, or are open again, or done again.")]
    episodes: Annotated[
        list[EpisodeMovedShown], note("Every episode; those delivered in both left out.")
    ]
    suppositions: Annotated[
        list[SuppositionShown],
        note(
            "Departments that do not work with the change, and when the plan with it takes them "
            "to go on. The plan without it supposes the same of each that had stopped by then "
            "already."
        ),
    ]
    rules_version: Annotated[str, note("The version of the rules of planning.")]
    time_zone_data_version: Annotated[str, note("The release of the IANA time zone data.")]
    cautions: Annotated[Sequence[str], note("What these figures do not say.")]


def shown_impact(impact: Impact, position: int, rules: str, zone_data: str) -> ImpactShown:
    """An impact; `position` is the event's, or that of the log it was tried on."""
    return ImpactShown(
        position=position,
        now=format_min(impact.now_min),
        reopened=[_shown_reopened(visit) for visit in impact.reopened],
        to_look_at=[
            ToLookAtShown(
                scene=look.scene,
                retake=look.retake,
                reason=look.reason,
                visits=shown_nodes(look.visits),
            )
            for look in impact.to_look_at
        ],
        still_needed=[
            StillNeededShown(
                item=one.item,
                department=one.department,
                needed_by=one.needed_by,
            )
            for one in impact.still_needed
        ],
        departments=[
            AddedShown(
                department=one.department,
                added_work=shown_e4(one.added_work_e4),
                unit=one.unit,
                added_artist_days=shown_e4(one.added_artist_days_e4),
            )
            for one in impact.departments
        ],
        scenes=[_shown_scene(scene) for scene in impact.scenes],
        episodes=[_shown_episode(episode) for episode in impact.episodes],
        suppositions=shown_suppositions(impact.suppositions),
        rules_version=rules,
        time_zone_data_version=zone_data,
        cautions=CAUTIONS,
    )


def _shown_reopened(visit: Reopened) -> ReopenedShown:
    return ReopenedShown(
        item=visit.item,
        department=visit.department,
        take=visit.take,
        work=shown_e4(visit.work_e4),
        unit=visit.unit,
        retake=visit.retake,
        because=shown_nodes(visit.because),
        planned=visit.planned,
    )


def _shown_scene(scene: SceneImpact) -> MovedShown:
    return MovedShown(
        scene=scene.scene,
        finish_before=shown_min(scene.finish_before_min),
        finish_after=shown_min(scene.finish_after_min),
        open_before=scene.open_before,
        open_after=scene.open_after,
        slip_workdays=scene.slip_workdays,
    )


def _shown_episode(episode: EpisodeImpact) -> EpisodeMovedShown:
    return EpisodeMovedShown(
        episode=episode.episode,
        gates=[
            _shown_gate(gate)
            for gate in sorted(episode.gates, key=lambda gate: GATES.index(gate.gate))
        ],
        due_on=shown_on(episode.due_on),
        delivery_before=shown_on(episode.delivery_before_on),
        delivery_after=shown_on(episode.delivery_after_on),
        margin_workdays_before=episode.margin_workdays_before,
        margin_workdays_after=episode.margin_workdays_after,
        date_holds=episode.date_holds,
    )


def _shown_gate(gate: GateImpact) -> GateMovedShown:
    return GateMovedShown(
        gate=gate.gate,
        due_on=shown_on(gate.due_on),
        hard=gate.hard,
        met_before=shown_on(gate.met_before_on),
        met_after=shown_on(gate.met_after_on),
        projected_before=shown_on(gate.before_on),
        projected_after=shown_on(gate.after_on),
        margin_workdays_before=gate.margin_workdays_before,
        margin_workdays_after=gate.margin_workdays_after,
        date_holds=gate.date_holds,
    )
