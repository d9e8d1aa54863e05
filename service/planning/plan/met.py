"""Where a board meets an episode's gates, and how each stands by the hand-offs that were made.

A gate is met by hand-offs: `MetAt` says by those of which rows, a `Meeting` when it was first met
and since when it stands met. `production.meeting` finds a `Meeting` in the record; here it is kept
with the board.
"""

from typing import NamedTuple

from service.planning.board.board import Board
from service.planning.kernel.line import OUT
from service.production.meeting import meeting
from service.production.state import Meeting, Node, State, visit_of
from service.production.takes import Phase
from service.vocabulary.instants import NOT_YET_US, US_PER_MIN


class MetAt(NamedTuple):
    """Where a gate is met: a group of the frame's rows, and whether their first takes suffice.

    `of_scenes`: the rows are those of the episode's scenes, not one of its own.
    """

    group: int
    first: bool
    of_scenes: bool


def met_at(board: Board, episode: str, gate: str) -> MetAt | None:
    """The rows whose hand-offs meet a gate; None where nothing is to meet it."""
    record = board.state.episodes[episode]
    met_by = record.route.gates.get(gate)
    if met_by is None:
        return None
    department, first = met_by
    of_scenes = department not in record.route.episode_departments
    group = board.frame.groups.place(episode, department, of_scenes=of_scenes)
    return None if group is None else MetAt(group, first, of_scenes)


def meeting_of(board: Board, episode: str, gate: str) -> Meeting | None:
    """How a gate of an episode stands; of a delivered one, how it stood then.

    None where its route has no department that meets it. Kept with the board, and carried on to
    those that are made of it.
    """
    if (episode, gate) not in board.met:
        board.met[episode, gate] = _meeting_of(board, episode, gate)
    return board.met[episode, gate]


def _meeting_of(board: Board, episode: str, gate: str) -> Meeting | None:
    record = board.state.episodes[episode]
    if record.delivered:
        return next((met for met in record.met if met.gate == gate), None)
    at = met_at(board, episode, gate)
    if at is not None and at.of_scenes and _never_met(board, at.group):
        return Meeting(gate, NOT_YET_US, NOT_YET_US)
    return meeting(board.state, episode, gate)


def _never_met(board: Board, group: int) -> bool:
    """Whether a scene has been in the way ever since the first hand-off was made.

    It mostly has while an episode is in work, and this saves a look at every visit.
    """
    state, nodes = board.state, board.frame.nodes
    rows = board.frame.groups.rows_at(group)
    first, ended = board.first_ended_min[rows], board.ended_min[rows]
    out = board.phase[rows] == OUT
    if any(_was_handed_off(state, nodes[row]) for row in rows[out & (ended < 0)].tolist()):
        return False  # before it was omitted, it may have met the gate
    made = first[first >= 0]
    if not len(made):
        return True
    first_us = int(made.min()) * US_PER_MIN
    waiting = [state.scenes[nodes[row][0]] for row in rows[~out & (first < 0)].tolist()]
    return any(
        not scene.omitted and not scene.omissions and scene.listed_us <= first_us
        for scene in waiting
    )


def _was_handed_off(state: State, node: Node) -> bool:
    return any(take.phase is Phase.HANDED_OFF for take in visit_of(state, *node).takes)
