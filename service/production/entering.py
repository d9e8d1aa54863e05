"""How a move enters a visit's entries: the one way, for the fold and for what decides."""

from service.production.route import APPROVAL
from service.production.state import AnyState, Draft, Node, visit_of
from service.production.takes import Phase, Take
from service.production.visits import (
    CALL_RANK,
    DESK_MOVES,
    DESK_RANK,
    Entry,
    Illegal,
    Move,
    Visit,
    enter,
    enter_desk,
    replay,
)
from service.production.work import remaining_of, terms_of
from service.vocabulary.event import Event


def try_move(
    state: AnyState,
    event: Event,
    node: Node,
    move: Move,
    *,
    take: int | None = None,
    artist: str | None = None,
    retake: str | None = None,
    share_e4: int = 10_000,
) -> Visit | Illegal:
    """The visit as the move would leave it, or why the table of moves refuses it."""
    entry = _entry(event, node, move, take, artist, retake, share_e4)
    if not isinstance(state, Draft):
        return _entered(state, node, entry)
    tried: Visit | Illegal | None = state.worked_out.get((node, entry))
    if tried is None:
        tried = state.worked_out[node, entry] = _entered(state, node, entry)
    return tried


def enter_move(
    draft: Draft,
    event: Event,
    node: Node,
    move: Move,
    *,
    take: int | None = None,
    artist: str | None = None,
    retake: str | None = None,
    share_e4: int = 10_000,
) -> Visit:
    """Enter a move that `decide` accepted; the visit as it stands then.

    Raises ValueError if the table refuses it after all: the log would then not be what was
    decided.
    """
    entry = _entry(event, node, move, take, artist, retake, share_e4)
    visit: Visit | Illegal | None = None
    if draft.worked_out:  # a fold has decided nothing before
        visit = draft.worked_out.get((node, entry))
    if visit is None:
        visit = _entered(draft, node, entry)
    if isinstance(visit, Illegal):
        raise ValueError(f"event {event.position} cannot {move} {node}: {visit}")
    item, department = node
    visits = draft.visits.get(item)
    if visits is None:
        draft.visits[item] = {department: visit}
    else:
        visits = visits.copy()
        visits[department] = visit
        draft.visits[item] = visits
    if draft.put_first and node in draft.put_first and visit.current.phase is not Phase.WAITING:
        del draft.put_first[node]  # the order is spent once the visit no longer waits
    return visit


def take_met(state: AnyState, node: Node, at_us: int) -> Take:
    """The take that a desk met at an instant, as all that happened up to then had left it."""
    visit = visit_of(state, *node)
    if not visit.entries or visit.entries[-1].at_us <= at_us:
        return visit.current
    before = tuple(entry for entry in visit.entries if entry.at_us <= at_us)
    then = replay(before, terms_of(state, *node), remaining_of(state, node[1]))
    if isinstance(then, Illegal):
        raise ValueError(f"the first entries of {node} are illegal, and all are not: {then}")
    return then.current


def _entry(
    event: Event,
    node: Node,
    move: Move,
    take: int | None,
    artist: str | None,
    retake: str | None,
    share_e4: int,
) -> Entry:
    # of answers to a design in one instant the one recorded later stands, refusals included
    rank = DESK_RANK if move in DESK_MOVES and node[1] != APPROVAL else CALL_RANK
    return Entry(event.time_us, rank, event.position, move, take, artist, retake, share_e4)


def _entered(state: AnyState, node: Node, entry: Entry) -> Visit | Illegal:
    item, department = node
    visit = visit_of(state, item, department)
    if entry.rank == DESK_RANK:
        entered = enter_desk(visit, entry)
        if entered is not None:
            return entered
    return enter(
        visit,
        entry,
        terms_of(state, item, department),
        remaining_of(state, department),
    )
