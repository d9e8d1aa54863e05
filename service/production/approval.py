"""Approval of designs: where an element stands with it, and what waits for it.

An element of a kind that must be approved has one more visit, at `approval`: asking starts it, the
answer given hands it off, and a refusal calls a retake (`nouns/approval.refusal`). Users wait for
the last visit of the element's making and for the approval, both, since an answer may come early.
Of two answers at one instant the one recorded later stands. No crew works at `approval`: whoever
answers takes whole working days of the studio. It is in no impact, account or price.
"""

from service.production.graph import predecessors
from service.production.route import APPROVAL
from service.production.state import AnyState, Element, Node, visit_of
from service.production.takes import Phase

STANDINGS = ("ahead", "to_ask", "asked", "given", "refused")
"""Still being made; made, but nobody is asked; asked; given; refused and being made again."""


def needs_approval(element: Element) -> bool:
    """Whether an element's kind must be approved."""
    return element.departments[-1] == APPROVAL


def approval_standing(state: AnyState, item: str, element: Element) -> str | None:
    """One of `STANDINGS`; None where the element's kind needs no approval."""
    if not needs_approval(element):
        return None
    phase = visit_of(state, item, APPROVAL).current.phase
    if phase is not Phase.WAITING:
        return "given" if phase is Phase.HANDED_OFF else "asked"
    if visit_of(state, item, element.departments[-2]).current.phase is Phase.HANDED_OFF:
        return "to_ask"
    last = element.answers[-1] if element.answers else None
    if last is not None and last.answer == "refused":
        # withdrawn or bought as it is, the refusal stands no longer
        return "refused" if state.retakes[last.retake].standing == "standing" else "ahead"
    return "ahead"


def unapproved(state: AnyState, node: Node, at_us: int | None = None) -> list[str]:
    """Elements whose approval a visit waits for, by name; at an instant, if one is said."""
    return sorted(
        arc.node[0]
        for arc in predecessors(state, *node)
        if arc.node[1] == APPROVAL and not _given(state, arc.node, at_us)
    )


def _given(state: AnyState, node: Node, at_us: int | None) -> bool:
    visit = visit_of(state, *node)
    take = visit.current if at_us is None else visit.take_open(at_us)
    return take.phase is Phase.HANDED_OFF and (at_us is None or take.ended_us <= at_us)
