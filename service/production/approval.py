"""Approval of designs: where an element stands with it, and what waits for it."""

from service.production.graph import predecessors
from service.production.route import APPROVAL
from service.production.state import Element, Known, Node, visit_of
from service.production.visits import Phase

STANDINGS = ("ahead", "to_ask", "asked", "given", "refused")
"""Still being made; made, but nobody is asked; asked; given; refused and being made again."""


def needs_approval(element: Element) -> bool:
    """Whether an element's kind must be approved."""
    return element.departments[-1] == APPROVAL


def approval_standing(known: Known, item: str, element: Element) -> str | None:
    """One of `STANDINGS`; None where the element's kind needs no approval."""
    if not needs_approval(element):
        return None
    phase = visit_of(known, item, APPROVAL).current.phase
    if phase is not Phase.WAITING:
        return "given" if phase is Phase.HANDED_OFF else "asked"
    if visit_of(known, item, element.departments[-2]).current.phase is Phase.HANDED_OFF:
        return "to_ask"
    last = element.answers[-1] if element.answers else None
    if last is not None and last.answer == "refused":
        # withdrawn or bought as it is, the refusal stands no longer
        return "refused" if known.retakes[last.retake].standing == "standing" else "ahead"
    return "ahead"


def unapproved(known: Known, node: Node, at_us: int | None = None) -> list[str]:
    """Elements whose approval a visit waits for, by name; at an instant, if one is said."""
    return sorted(
        arc.node[0]
        for arc in predecessors(known, *node)
        if arc.node[1] == APPROVAL and not _given(known, arc.node, at_us)
    )


def _given(known: Known, node: Node, at_us: int | None) -> bool:
    visit = visit_of(known, *node)
    take = visit.current if at_us is None else visit.take_open(at_us)
    return take.phase is Phase.HANDED_OFF and (at_us is None or take.ended_us <= at_us)
