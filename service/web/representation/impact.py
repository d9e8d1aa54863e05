"""Impacts as JSON shows them."""

from service.planning.compare.impact import EpisodeImpact, GateImpact, Impact
from service.vocabulary import cautions
from service.vocabulary.facts.office import GATES
from service.vocabulary.instants import format_min
from service.web.representation.departments import shown_suppositions
from service.web.representation.values import (
    Shown,
    shown_e4,
    shown_min,
    shown_nodes,
    shown_on,
)

CAUTIONS = (cautions.FLOAT, cautions.HOURS)


def shown_impact(impact: Impact, position: int, rules: str, zone_data: str) -> Shown:
    """An impact; `position` is the event's, or that of the log it was tried on."""
    return {
        "position": position,
        "now": format_min(impact.now_min),
        "reopened": [
            {
                "item": visit.item,
                "department": visit.department,
                "take": visit.take,
                "work": shown_e4(visit.work_e4),
                "unit": visit.unit,
                "retake": visit.retake,
                "because": shown_nodes(visit.because),
                "planned": visit.planned,
            }
            for visit in impact.reopened
        ],
        "to_look_at": [
            {
                "scene": look.scene,
                "retake": look.retake,
                "reason": look.reason,
                "visits": shown_nodes(look.visits),
            }
            for look in impact.to_look_at
        ],
        "still_needed": [
            {"item": one.item, "department": one.department, "needed_by": one.needed_by}
            for one in impact.still_needed
        ],
        "departments": [
            {
                "department": one.department,
                "added_work": shown_e4(one.added_work_e4),
                "unit": one.unit,
                "added_artist_days": shown_e4(one.added_artist_days_e4),
            }
            for one in impact.departments
        ],
        "scenes": [
            {
                "scene": scene.scene,
                "finish_before": shown_min(scene.finish_before_min),
                "finish_after": shown_min(scene.finish_after_min),
                "open_before": scene.open_before,
                "open_after": scene.open_after,
                "slip_workdays": scene.slip_workdays,
            }
            for scene in impact.scenes
        ],
        "episodes": [_shown_episode(episode) for episode in impact.episodes],
        "suppositions": shown_suppositions(impact.suppositions),
        "rules_version": rules,
        "time_zone_data_version": zone_data,
        "cautions": CAUTIONS,
    }


def _shown_episode(episode: EpisodeImpact) -> Shown:
    return {
        "episode": episode.episode,
        "gates": [
            _shown_gate(gate)
            for gate in sorted(episode.gates, key=lambda gate: GATES.index(gate.gate))
        ],
        "due_on": shown_on(episode.due_on),
        "delivery_before": shown_on(episode.delivery_before_on),
        "delivery_after": shown_on(episode.delivery_after_on),
        "margin_workdays_before": episode.margin_workdays_before,
        "margin_workdays_after": episode.margin_workdays_after,
        "date_holds": episode.date_holds,
    }


def _shown_gate(gate: GateImpact) -> Shown:
    return {
        "gate": gate.gate,
        "due_on": shown_on(gate.due_on),
        "hard": gate.hard,
        "met_before": shown_on(gate.met_before_on),
        "met_after": shown_on(gate.met_after_on),
        "projected_before": shown_on(gate.before_on),
        "projected_after": shown_on(gate.after_on),
        "margin_workdays_before": gate.margin_workdays_before,
        "margin_workdays_after": gate.margin_workdays_after,
        "date_holds": gate.date_holds,
    }
