"""Episodes and their gates as JSON shows them."""

from collections.abc import Mapping

from service.planning.plan.chain import Link, critical_chain
from service.planning.plan.gates import gate_standings
from service.planning.plan.schedule import Schedule
from service.planning.plan.standing import Standings, Stands
from service.production.route import APPROVAL
from service.production.state import Episode, Scene, State, rate_of
from service.vocabulary.facts.office import GATES
from service.vocabulary.footage import Rate
from service.vocabulary.identifiers import natural_order
from service.web.representation.scenes import shown_to_look_at
from service.web.representation.values import (
    Shown,
    shown_length,
    shown_min,
    shown_on,
    shown_us,
)
from service.web.representation.visits import shown_visit


def shown_episode(standings: Standings, name: str, counts: Mapping[str, int]) -> Shown:
    """An episode in a list of them; `counts` say how many of its visits stand where."""
    episode = standings.state.episodes[name]
    return {
        "episode": name,
        "show": episode.show,
        "title": episode.title,
        "delivered_at": shown_us(episode.delivered_us),
        "priority": episode.priority,
        "scenes": len(_scenes(standings.state, episode)),
        **shown_format(episode, rate_of(standings.state, name)),
        "visits": dict(counts),
        "gates": shown_gates(standings.schedule, name),
    }


def shown_episode_whole(standings: Standings, name: str, counts: Mapping[str, int]) -> Shown:
    """An episode with what its delivery waits for."""
    episode = standings.state.episodes[name]
    scenes = _scenes(standings.state, episode)
    chain = critical_chain(standings.schedule, name)
    links = [_shown_link(standings, link) for link in chain]
    return shown_episode(standings, name, counts) | {
        "drawings": sum(scene.drawings for scene in scenes),
        "scenes_omitted": len(episode.scenes) - len(scenes),
        "episode_visits": [shown_visit(visit) for visit in standings.visits(name)],
        "to_look_at": [
            look
            for scene in sorted(episode.scenes, key=natural_order)
            for look in shown_to_look_at(standings.state, scene)
        ],
        "waits_on": links[0] if links else None,
        "critical_chain": links,
    }


def shown_format(episode: Episode, rate: Rate) -> Shown:
    """What the scenes in the picture come to, beside the format length if there is one."""
    length, wanted = episode.scene_frames, episode.frames
    shown: Shown = {
        "length": shown_length(length, rate),
        "format_length": None,
        "against_format": None,
    }
    if wanted is not None:
        stands = "over" if length > wanted else "short" if length < wanted else "exact"
        by = shown_length(abs(length - wanted), rate)
        shown["format_length"] = shown_length(wanted, rate)
        shown["against_format"] = {"stands": stands, "by": by}
    return shown


def _scenes(state: State, episode: Episode) -> list[Scene]:
    return [scene for name in episode.scenes if not (scene := state.scenes[name]).omitted]


def shown_gates(schedule: Schedule, episode: str) -> list[Shown]:
    """Every gate of an episode that is set, or that its route meets, in the order of the line."""
    shown = []
    standings = gate_standings(schedule, episode)
    for name in sorted(standings, key=GATES.index):
        standing = standings[name]
        gate = standing.gate
        shown.append(
            {
                "gate": name,
                "due_on": shown_on(gate.due_on if gate else None),
                "hard": bool(gate and gate.hard),
                "met_on": shown_on(standing.met_on),
                "projected_on": shown_on(standing.projected_on),
                "margin_workdays": standing.margin_workdays,
                "date_holds": standing.date_holds,
            }
        )
    return shown


def _shown_link(standings: Standings, link: Link) -> Shown:
    schedule = standings.schedule
    item, department = schedule.board.frame.nodes[link.row]
    visit = standings.visit(item, department)
    scene = standings.state.scenes.get(item)
    hold = scene.hold if scene and link.bound == "hold" else None
    owes = hold.owes if hold else department
    if department == APPROVAL and visit.stands is Stands.ON_DESK:
        owes = standings.state.elements[item].asked_of
    shown = {
        "item": item,
        "department": department,
        "take": visit.take,
        "state": visit.stands.value,
        "artist": visit.artist,
        "started_at": shown_us(visit.started_us),
        "projected_start_at": shown_min(visit.projected_start_min),
        "projected_finish_at": shown_min(visit.projected_finish_min),
        "overdue_since_at": shown_min(visit.overdue_since_min),
        "bound": link.bound,
        "owes": owes,
    }
    if visit.unapproved:
        shown["waits_for_approval"] = visit.unapproved
    return shown
