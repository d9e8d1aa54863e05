"""How a move enters a visit's entries: the one way, for the fold and for what decides."""

from service.production.state import Draft, Known, Node, visit_of
from service.production.visits import CALL_RANK, Entry, Illegal, Move, Visit, enter
from service.production.work import remaining_of, terms_of
from service.vocabulary.event import Event

_CALLS = (Move.CALL, Move.UNCALL)


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
    item, department = node
    rank = CALL_RANK if move in _CALLS else 0
    entry = Entry(event.time_us, rank, event.position, move, take, artist, retake, share_e4)
    return enter(
        visit_of(known, item, department),
        entry,
        terms_of(known, item, department),
        remaining_of(known, department),
    )


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
) -> None:
    """Enter a move that `decide` accepted.

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
