"""When an episode met its gates: at the instant at which every hand-off that meets one stood made.

A gate is met by a department's visits: the episode's own, or those of its scenes. First takes
suffice where the route says so; else a visit that a retake reopens is in the way again until it is
handed off. A scene counts from when it was listed and while it is in the picture, so an omission
lets a gate be met, and a scene that is listed or restored later takes nothing back. A hand-off that
its receiver refused was none.

When an episode is delivered this is kept in its record (`Episode.met`), by the hand-offs recorded
by then, so that hundreds of delivered episodes cost nothing.
"""

from collections.abc import Iterable, Iterator
from operator import itemgetter

from service.production.state import AnyState, Meeting, Scene, visit_of
from service.production.takes import Phase
from service.production.visits import FIRST_OPENED_US, Visit
from service.vocabulary.instants import NOT_YET_US

_HANDED_OFF = Phase.HANDED_OFF

# what counts first of what happens in one instant: calls come behind the hand-offs made in it,
# unless it is the take that the call opened which is handed off
_ENTERED, _DONE, _REOPENED, _DONE_AGAIN = range(4)

_Turn = tuple[int, int, int, int]
"""A visit comes in the way of its gate or leaves it: instant, rank within it, and by how much the
visits that are open and those that are done become more."""
_END: _Turn = (2**62, 0, 0, 0)


def meeting(state: AnyState, name: str, gate: str) -> Meeting | None:
    """How a gate of an episode stands by the hand-offs that meet it.

    None where the episode's route has no department that does.
    """
    episode = state.episodes[name]
    by = episode.route.gates.get(gate)
    if by is None:
        return None
    department, first = by
    if department in episode.route.episode_departments:
        turns = _turns(visit_of(state, name, department), FIRST_OPENED_US, first)
    else:
        turns = []
        for item in episode.scenes:
            scene = state.scenes[item]
            if department in scene.departments:
                turns += _turns_of_scene(visit_of(state, item, department), scene, first)
    return Meeting(gate, *_swept(turns))


def meetings_at_delivery(state: AnyState, name: str, delivered_us: int) -> tuple[Meeting, ...]:
    """How all gates stand as an episode is delivered, which meets that of delivery in any case."""
    gates = state.episodes[name].route.gates
    met = {found.gate: found for gate in gates if (found := meeting(state, name, gate))}
    met["delivery"] = Meeting("delivery", delivered_us, delivered_us)
    return tuple(met.values())


def _turns(visit: Visit, listed_us: int, first: bool) -> list[_Turn]:
    """What happened to a visit that was there from an instant on, before all its hand-offs."""
    turns = [(listed_us, _ENTERED, 1, 0)]
    done = False
    for take in visit.takes:
        if done:
            turns.append((take.opened_us, _REOPENED, 1, -1))
        done = take.phase is _HANDED_OFF
        if done:
            rank = _DONE_AGAIN if take.ended_us == take.opened_us else _DONE
            turns.append((take.ended_us, rank, -1, 1))
            if first:
                break
    return turns


def _turns_of_scene(visit: Visit, scene: Scene, first: bool) -> Iterable[_Turn]:
    """What happened to the visit of a scene, which counts while that is in the picture."""
    listed_behind = 0 <= visit.takes[0].ended_us < scene.listed_us
    if listed_behind or scene.omitted or scene.omissions:
        return _turns_in_picture(visit, scene, first)
    return _turns(visit, scene.listed_us, first)


def _turns_in_picture(visit: Visit, scene: Scene, first: bool) -> Iterator[_Turn]:
    """The same where the scene was out of the picture at times, or was listed only later."""
    changes: list[tuple[int, int, bool | None, bool | None]] = []  # there? done?
    for at_us, rank, _, done in _turns(visit, FIRST_OPENED_US, first)[1:]:
        changes.append((at_us, rank, None, done > 0))
    there_us = scene.listed_us
    for from_us, until_us in (*scene.omissions, *_omission(scene)):
        if from_us < until_us:
            # a listing that is told late may lie behind the omission
            if from_us >= there_us:
                changes.append((there_us, _ENTERED, True, None))
                changes.append((from_us, _DONE, False, None))
            there_us = max(there_us, until_us)
    if not scene.omitted:
        changes.append((there_us, _ENTERED, True, None))
    is_there = is_done = False
    for at_us, rank, there, done_now in sorted(changes, key=itemgetter(0, 1)):
        was_open, was_done = is_there and not is_done, is_there and is_done
        is_there = is_there if there is None else there
        is_done = is_done if done_now is None else done_now
        yield (
            at_us,
            rank,
            (is_there and not is_done) - was_open,
            (is_there and is_done) - was_done,
        )


def _omission(scene: Scene) -> list[tuple[int, int]]:
    """The omission that lasts, if one does."""
    return [(scene.omitted_us, _END[0])] if scene.omitted else []


def same_hand_offs(one: Visit, other: Visit, *, first: bool) -> bool:
    """Whether two visits of one item are in the way of a gate at the same times."""
    return one.takes is other.takes or _turns(one, 0, first) == _turns(other, 0, first)


def _swept(turns: list[_Turn]) -> tuple[int, int]:
    """The first instant at which nothing was in the way, and since when nothing is.

    `turns` are what happened to all visits, in any order. Either is NOT_YET_US where there is none.
    """
    turns.sort()
    turns.append(_END)
    waiting = done = 0
    met_us = stands_us = NOT_YET_US
    now_us, now_rank = turns[0][:2]
    for at_us, rank, more_waiting, more_done in turns:
        if at_us != now_us or rank != now_rank:
            if waiting or not done:
                stands_us = NOT_YET_US
            elif stands_us < 0:
                stands_us = now_us
                met_us = now_us if met_us < 0 else met_us
            now_us, now_rank = at_us, rank
        waiting += more_waiting
        done += more_done
    return met_us, stands_us
