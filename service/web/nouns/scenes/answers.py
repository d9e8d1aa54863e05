"""Scenes as JSON shows them."""

from collections.abc import Mapping, Sequence
from typing import Annotated

from msgspec.structs import asdict

from service.planning.plan.overdue import answer_overdue_since
from service.planning.plan.standing import Standings
from service.production.approval import STANDINGS as APPROVAL_STANDINGS
from service.production.approval import approval_standing
from service.production.records import CHANGES, RETAKE_STANDINGS
from service.production.state import SameAs, Scene, State, rate_of
from service.production.touched import to_look_at
from service.vocabulary.facts.retakes import KINDS, URGENCIES
from service.vocabulary.identifiers import natural_order
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Shown, answer_of, extended, note, one_of, page_of
from service.web.nouns.notes.answers import NoteShown, shown_note
from service.web.nouns.values import (
    shown_min,
    shown_on,
    shown_us,
)
from service.web.nouns.visits import (
    HoldShown,
    LengthShown,
    NodeShown,
    VisitShown,
    shown_length,
    shown_visit,
)


class SceneShown(Shown):
    """One camera set-up."""

    scene: Annotated[str, note("The scene.")]
    number: Annotated[str, note("Its number within the episode.")]
    length: Annotated[LengthShown, note("Its length.")]
    drawings: Annotated[int, note("How many drawings.")]
    levels: Annotated[int, note("How many levels of characters.")]
    omitted_at: Annotated[Instant | None, note("When it was omitted; null: it is in the picture.")]
    bought_at: Annotated[Instant | None, note("When it was bought; null: not yet.")]
    priority: Annotated[
        int | None, note("Its own priority; higher goes first; null: its episode's.")
    ]
    hold: Annotated[HoldShown | None, note("What it waits for; null: nothing holds it.")]
    projected_finish_at: Annotated[
        Instant | None, note("When the last of its visits is, or was, handed off.")
    ]
    visits: Annotated[list[VisitShown], note("The departments it visits itself, in order.")]


class UsedShown(Shown):
    """An element that a scene uses."""

    element: Annotated[str, note("The element.")]
    kind: Annotated[str, note("Its kind.")]
    title: Annotated[str | None, note("Its title.")]
    feeds: Annotated[str, note("The department it is there for.")]
    approval: Annotated[
        str | None,
        one_of(APPROVAL_STANDINGS, "Where its approval stands; null: it needs none.", none=True),
    ]


class SameShown(Shown):
    """What a scene reuses of another."""

    source: Annotated[str, note("The scene it reuses.")]
    joins: Annotated[str, note("Where it joins that scene.")]
    strands: Annotated[Sequence[str], note("What is reused.")]
    levels: Annotated[Sequence[str], note("Which levels; empty: all of it.")]


class TouchingShown(Shown):
    """A retake that concerns a scene."""

    retake: Annotated[str, note("Its code.")]
    called_at: Annotated[Instant, note("When it was called.")]
    kind: Annotated[str, one_of(KINDS, "The kind of call.")]
    urgency: Annotated[str, one_of(URGENCIES, "How badly it is wanted.")]
    back_to: Annotated[str, note("From which department on.")]
    standing: Annotated[str, one_of(RETAKE_STANDINGS, "Whether it still stands.")]
    reaches: Annotated[bool, note("Whether visits of this scene are in its reach.")]
    to_look_at: Annotated[bool, note("Whether it asks to look at this scene.")]
    answer: Annotated[
        str | None, one_of(("fine", "redo"), "The answer; null: none yet.", none=True)
    ]


class BegunShown(NodeShown):
    """A visit that had begun before its scene changed."""

    take: Annotated[int, note("The take that had begun.")]


class ChangedShown(Shown):
    """A change of a scene that somebody must look at: what was done no longer matches it."""

    scene: Annotated[str, note("The scene.")]
    reason: Annotated[str, one_of(CHANGES, "How it changed.")]
    position: Annotated[int, note("The position of the event that changed it.")]
    at: Annotated[Instant, note("When it changed.")]
    frames_before: Annotated[
        int, note("Its part of the picture before, in frames; 0: it was not in it.")
    ]
    frames_after: Annotated[int, note("Its part of the picture since.")]
    visits: Annotated[
        list[BegunShown], note("The visits that had begun and have not been redone since.")
    ]


class WholeHoldShown(HoldShown):
    """What a scene waits for, and why."""

    why: Annotated[str | None, note("Why; null where it may not be read.")]


class WholeSceneShown(SceneShown):
    """A scene with all that concerns it."""

    hold: Annotated[WholeHoldShown | None, note("What it waits for; null: nothing holds it.")]
    elements: Annotated[list[UsedShown], note("The elements it uses.")]
    to_look_at: Annotated[
        list[ChangedShown],
        note("Changes after work had begun, until that is redone or answered for."),
    ]
    hook_ups: Annotated[Sequence[str], note("Scenes whose end or start must match it.")]
    same_as: Annotated[list[SameShown], note("What it reuses.")]
    reused_by: Annotated[Sequence[str], note("Scenes that reuse it.")]
    notes: Annotated[
        list[NoteShown], note("Its open notes, the newest first, at most 100; `/notes` has all.")
    ]
    retakes: Annotated[list[TouchingShown], note("Retakes that concern it, the newest first.")]


def shown_scene(standings: Standings, name: str) -> SceneShown:
    """A scene with its visits."""
    scene = standings.state.scenes[name]
    return SceneShown(
        scene=name,
        number=scene.number,
        length=shown_length(scene.frames, rate_of(standings.state, scene.episode)),
        drawings=scene.drawings,
        levels=scene.levels,
        omitted_at=shown_us(scene.omitted_us),
        bought_at=shown_us(scene.bought_us),
        priority=scene.priority,
        hold=shown_hold(standings, scene),
        projected_finish_at=shown_min(standings.finish_min(name)),
        visits=[shown_visit(visit) for visit in standings.visits(name)],
    )


def shown_to_look_at(state: State, name: str) -> list[ChangedShown]:
    """What is to look at because the scene changed after work on it had begun."""
    return [
        ChangedShown(
            scene=name,
            reason=look.change.change,
            position=look.change.position,
            at=format_instant(look.change.at_us),
            frames_before=look.change.frames_before,
            frames_after=look.change.frames_after,
            visits=[
                BegunShown(
                    item=item,
                    department=department,
                    take=take,
                )
                for item, department, take in look.visits
            ],
        )
        for look in to_look_at(state, name)
    ]


def shown_hold(standings: Standings, scene: Scene) -> HoldShown | None:
    """What a scene waits for; None where nothing holds it."""
    hold = scene.hold
    if hold is None:
        return None
    overdue_min = answer_overdue_since(standings.state, hold, standings.schedule.now_min)
    return HoldShown(
        owes=hold.owes,
        by_on=shown_on(hold.by_on),
        since_at=format_instant(hold.since_us),
        overdue_since_at=shown_min(overdue_min),
    )


def shown_scene_whole(
    standings: Standings,
    name: str,
    open_notes: Sequence[str],
    texts: Mapping[int, Mapping[str, str]],
) -> WholeSceneShown:
    """A scene with what it has to do with elements, other scenes, notes and retakes."""
    state = standings.state
    scene, shown = state.scenes[name], shown_scene(standings, name)
    hold = None
    if scene.hold is not None and shown.hold is not None:
        why = texts.get(scene.hold.position, {}).get("/data/why")
        hold = extended(WholeHoldShown, shown.hold, why=why)
    return WholeSceneShown(
        **{**asdict(shown), "hold": hold},
        elements=[
            UsedShown(
                element=used,
                kind=state.elements[used].kind,
                title=state.elements[used].title,
                feeds=state.elements[used].route.kinds[state.elements[used].kind].feeds,
                approval=approval_standing(state, used, state.elements[used]),
            )
            for used in scene.elements
        ],
        to_look_at=shown_to_look_at(state, name),
        hook_ups=state.hook_ups.get(name, ()),
        same_as=[_shown_same(same) for same in scene.same_as],
        reused_by=sorted(state.reusers.get(name, ()), key=natural_order),
        notes=[shown_note(code, state.notes[code], texts) for code in open_notes],
        retakes=shown_touching(state, name),
    )


def _shown_same(same: SameAs) -> SameShown:
    return SameShown(
        source=same.source,
        joins=same.joins,
        strands=sorted(same.strands),
        levels=same.levels,
    )


def retakes_touching(state: State, item: str) -> list[tuple[str, bool]]:
    """Retakes that reach an item, the newest first, and whether they only ask to look at it."""
    found = []
    for code, retake in state.retakes.items():
        if any(step.node[0] == item for step in retake.reach):
            found.append((retake.position, code, False))
        elif any(look.scene == item for look in retake.look_at):
            found.append((retake.position, code, True))
    return [(code, only_look) for _, code, only_look in sorted(found, reverse=True)]


def shown_touching(state: State, item: str) -> list[TouchingShown]:
    """Retakes that reach a scene or ask to look at it."""
    shown = []
    for code, only_look in retakes_touching(state, item):
        retake = state.retakes[code]
        look = next((look for look in retake.look_at if look.scene == item), None)
        shown.append(
            TouchingShown(
                retake=code,
                called_at=format_instant(retake.called_us),
                kind=retake.kind,
                urgency=retake.urgency,
                back_to=retake.back_to,
                standing=retake.standing,
                to_look_at=look is not None,
                answer=(look.answer or None) if look else None,
                reaches=not only_look,
            )
        )
    return shown


SCENES = page_of(SceneShown, "ScenesPage")
SCENE = answer_of(WholeSceneShown, "SceneAnswer")
