"""How a move enters a visit's entries: the one way, for the fold and for what decides."""

from service.production.state import Draft, Known, Node, visit_of
from service.production.visits import (
    CALL_RANK,
    DESK_MOVES,
    DESK_RANK,
    Entry,
    Illegal,
    Move,
    Phase,
    Visit,
    enter,
)
from service.production.work import remaining_of, terms_of
from service.vocabulary.event import Event


def try_move(
    known: Known,
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
    rank = DESK_RANK if move in DESK_MOVES else CALL_RANK
    entry = Entry(event.time_us, rank, event.position, move, take, artist, retake, share_e4)
    key = (node, entry)
    if isinstance(known, Draft) and key in known.worked_out:
        tried: Visit | Illegal = known.worked_out[key]
        return tried
    item, department = node
    tried = enter(
        visit_of(known, item, department),
        entry,
        terms_of(known, item, department),
        remaining_of(known, department),
    )
    if isinstance(known, Draft):
        known.worked_out[key] = tried
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
    visit = try_move(
        draft, event, node, move, take=take, artist=artist, retake=retake, share_e4=share_e4
    )
    if isinstance(visit, Illegal):
        raise ValueError(f"event {event.position} cannot {move} {node}: {visit}")
    item, department = node
    draft.visits[item] = {**draft.visits.get(item, {}), department: visit}
    if node in draft.put_first and visit.current.phase is not Phase.WAITING:
        del draft.put_first[node]  # the order is spent once the visit no longer waits
    return visit
