"""Retakes as JSON shows them."""

from service.planning.plan.standing import Standings
from service.production.lending import Lending
from service.production.reach import reopened_by
from service.production.state import Retake, State, item_of, visit_of
from service.production.visits import Phase, Take
from service.production.work import work_of_take_e4
from service.web.representation.values import (
    Shown,
    shown_e4,
    shown_min,
    shown_nodes,
    shown_us,
)


def shown_retake(state: State, code: str, retake: Retake) -> Shown:
    """A call, how much of it is open, and how many scenes wait to be looked at."""
    reopened = reopened_by(state, code, retake)
    lending = Lending(state)
    planned = [
        lending.needs(*step.node)
        for step, number in reopened
        if _take(state, step.node, number).phase in {Phase.WAITING, Phase.ON_DESK}
    ]
    standing = retake.standing == "standing"
    return {
        "retake": code,
        "subject": retake.subject,
        "position_called": retake.position,
        "called_at": shown_us(retake.called_us),
        "kind": retake.kind,
        "urgency": retake.urgency,
        "back_to": retake.back_to,
        "strands": sorted(retake.strands),
        "items": retake.items,
        "share": shown_e4(retake.share_e4),
        "drawings": retake.drawings,
        "found_at": retake.found_at,
        "fault_of": retake.fault_of,
        "asked_by": retake.asked_by,
        "called_by": retake.called_by or None,
        "standing": retake.standing,
        "reopened": len(reopened),
        "open": sum(planned),
        "not_planned": len(planned) - sum(planned),
        "unanswered": sum(standing and not look.answer for look in retake.look_at),
    }


def shown_retake_whole(standings: Standings, code: str, retake: Retake) -> Shown:
    """A call with its reach, its takes and the scenes to look at."""
    state = standings.state
    return shown_retake(state, code, retake) | {
        "reach": [
            {
                "item": step.node[0],
                "department": step.node[1],
                "share": shown_e4(step.share_e4),
                "via": shown_nodes([step.via])[0] if step.via else None,
            }
            for step in retake.reach
        ],
        "takes": [
            _shown_take(standings, code, step.node, number)
            for step, number in reopened_by(state, code, retake)
        ],
        "to_look_at": _shown_look_at(state, retake),
    }


def _take(state: State, node: tuple[str, str], number: int) -> Take:
    return next(take for take in visit_of(state, *node).takes if take.number == number)


def _shown_take(standings: Standings, code: str, node: tuple[str, str], number: int) -> Shown:
    state = standings.state
    item, department = node
    take = _take(state, node, number)
    visit = standings.visit(item, department)
    newest = visit.take == number
    record = item_of(state, item)
    if record is None:
        raise LookupError(item)
    return {
        "item": item,
        "department": department,
        "take": number,
        "state": visit.stands.value if newest else take.phase.value,
        "work": shown_e4(work_of_take_e4(state, record, department, take)),
        "unit": record.route.departments[department].unit,
        "artist": take.artist,
        "started_at": shown_us(take.started_us),
        "handed_off_at": shown_us(take.ended_us) if take.phase is Phase.HANDED_OFF else None,
        "projected_finish_at": shown_min(visit.projected_finish_min) if newest else None,
        "overdue_since_at": shown_min(visit.overdue_since_min) if newest else None,
        "because": shown_nodes(standings.because(code, node)),
    }


def _shown_look_at(state: State, retake: Retake) -> list[Shown]:
    reached = {step.node[0] for step in retake.reach}
    return [
        {
            "scene": look.scene,
            "reason": look.reason,
            "beside": [name for name in state.hook_ups.get(look.scene, ()) if name in reached],
            "via": shown_nodes(step.node for step in look.via),
            "answer": look.answer or None,
        }
        for look in retake.look_at
    ]
