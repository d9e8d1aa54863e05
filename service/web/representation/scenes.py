"""Scenes as JSON shows them."""

from service.planning.plan.overdue import answer_overdue_since
from service.planning.plan.standing import Standings
from service.production.approval import approval_standing
from service.production.state import SameAs, Scene, State, rate_of
from service.production.touched import to_look_at
from service.vocabulary.identifiers import natural_order
from service.web.representation.values import (
    Shown,
    shown_length,
    shown_min,
    shown_on,
    shown_us,
)
from service.web.representation.visits import shown_visit


def shown_scene(standings: Standings, name: str) -> Shown:
    """A scene with its visits."""
    scene = standings.state.scenes[name]
    return {
        "scene": name,
        "number": scene.number,
        "length": shown_length(scene.frames, rate_of(standings.state, scene.episode)),
        "drawings": scene.drawings,
        "levels": scene.levels,
        "omitted_at": shown_us(scene.omitted_us),
        "bought_at": shown_us(scene.bought_us),
        "priority": scene.priority,
        "hold": shown_hold(standings, scene),
        "projected_finish_at": shown_min(standings.finish_min(name)),
        "visits": [shown_visit(visit) for visit in standings.visits(name)],
    }


def shown_to_look_at(state: State, name: str) -> list[Shown]:
    """What is to look at because the scene changed after work on it had begun."""
    return [
        {
            "scene": name,
            "reason": look.change.change,
            "position": look.change.position,
            "at": shown_us(look.change.at_us),
            "frames_before": look.change.frames_before,
            "frames_after": look.change.frames_after,
            "visits": [
                {"item": item, "department": department, "take": take}
                for item, department, take in look.visits
            ],
        }
        for look in to_look_at(state, name)
    ]


def shown_hold(standings: Standings, scene: Scene) -> Shown | None:
    """What a scene waits for; None where nothing holds it."""
    hold = scene.hold
    if hold is None:
        return None
    overdue_min = answer_overdue_since(standings.state, hold, standings.schedule.now_min)
    return {
        "owes": hold.owes,
        "by_on": shown_on(hold.by_on),
        "since_at": shown_us(hold.since_us),
        "overdue_since_at": shown_min(overdue_min),
    }


def shown_joins(state: State, name: str, scene: Scene) -> Shown:
    """What a scene has to do with elements and other scenes."""
    return {
        "elements": [
            {
                "element": used,
                "kind": state.elements[used].kind,
                "title": state.elements[used].title,
                "feeds": state.elements[used].route.kinds[state.elements[used].kind].feeds,
                "approval": approval_standing(state, used, state.elements[used]),
            }
            for used in scene.elements
        ],
        "to_look_at": shown_to_look_at(state, name),
        "hook_ups": state.hook_ups.get(name, ()),
        "same_as": [_shown_same(same) for same in scene.same_as],
        "reused_by": sorted(state.reusers.get(name, ()), key=natural_order),
    }


def _shown_same(same: SameAs) -> Shown:
    return {
        "source": same.source,
        "joins": same.joins,
        "strands": sorted(same.strands),
        "levels": same.levels,
    }


def retakes_touching(state: State, item: str) -> list[tuple[str, bool]]:
    """Retakes that reach an item, the newest first, and whether they only ask to look at it."""
    found = []
    for code, retake in state.retakes.items():
        if any(step.node[0] == item for step in retake.reach):
            found.append((retake.position, code, False))
        elif any(look.scene == item for look in retake.look_at):
            found.append((retake.position, code, True))
    return [(code, only_look) for _, code, only_look in sorted(found, reverse=True)]


def shown_touching(state: State, item: str) -> list[Shown]:
    """Retakes that reach a scene or ask to look at it."""
    shown = []
    for code, only_look in retakes_touching(state, item):
        retake = state.retakes[code]
        look = next((look for look in retake.look_at if look.scene == item), None)
        shown.append(
            {
                "retake": code,
                "called_at": shown_us(retake.called_us),
                "kind": retake.kind,
                "urgency": retake.urgency,
                "back_to": retake.back_to,
                "standing": retake.standing,
                "to_look_at": look is not None,
                "answer": (look.answer or None) if look else None,
                "reaches": not only_look,
            }
        )
    return shown
