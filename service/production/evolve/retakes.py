"""What retakes change: the takes of every visit in their reach."""

from service.production.evolve.entering import enter_move
from service.production.evolve.marking import add_mark
from service.production.lending import Lending
from service.production.marks import NOT_PLANNED
from service.production.reach import (
    Reach,
    cancelled_by_withdrawal,
    compute_reach,
    delivered,
    entries_of,
    entry_department,
    with_episodes,
)
from service.production.state import Draft, Known, LookAt, Node, Reached, Retake, item_of, visit_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import retakes as facts
from service.vocabulary.facts import supervision
from service.vocabulary.quantities import ONE_E4, ceil_div


def share_of(known: Known, item: str, fact: facts.RetakeCalled) -> int:
    """The share of an item's drawings that a call touches, in ten-thousandths."""
    if fact.share_e4 is not None:
        return fact.share_e4
    found = item_of(known, item)
    drawings = getattr(found, "drawings", 0)
    if fact.drawings is None or drawings == 0:
        return ONE_E4
    return min(ONE_E4, ceil_div(fact.drawings * ONE_E4, drawings))


def named_items(event: Event, fact: facts.RetakeCalled) -> tuple[str, ...]:
    """What a call names: its items, or its subject."""
    return tuple(dict.fromkeys(fact.items)) or (event.subject,)


def reach_of(
    known: Known, event: Event, fact: facts.RetakeCalled, *, but: frozenset[str] = frozenset()
) -> Reach:
    """What a call would reach, by the arcs as they stand; marks for scenes in `but` left out.

    A scene marked redo is redone although its episode is delivered, although it is only listed as
    a hook-up, and although another mark cuts off the way by which it is reached.
    """
    key = ("reach", event.position, but)
    if isinstance(known, Draft) and key in known.worked_out:
        worked_out: Reach = known.worked_out[key]
        return worked_out
    reach = _reach(known, event, fact, but)
    if isinstance(known, Draft):
        known.worked_out[key] = reach
    return reach


def _reach(known: Known, event: Event, fact: facts.RetakeCalled, but: frozenset[str]) -> Reach:
    items = named_items(event, fact)
    strands = frozenset(fact.strands)
    marks = {other.scene: other.mark for other in fact.dependents if other.scene not in but}
    redone = [scene for scene, mark in marks.items() if mark == "redo"]
    seeds = [Reached((item, fact.back_to), None, share_of(known, item, fact)) for item in items]
    named = with_episodes(known, [*items, *redone])
    reach = compute_reach(known, seeds, strands, {}, named)
    while more := _hook_ups_redone(known, reach, fact, items, redone):
        seeds += more
        reach = compute_reach(known, seeds, strands, {}, named)
    if len(redone) == len(marks):
        return reach
    whole, reach = reach, compute_reach(known, seeds, strands, marks, named)
    reached = {step.node[0] for step in reach.reached}
    cut_off = [
        step._replace(via=None)
        for step in entries_of(whole.reached)
        if step.node[0] in redone and step.node[0] not in reached
    ]
    return compute_reach(known, [*seeds, *cut_off], strands, marks, named) if cut_off else reach


def _hook_ups_redone(
    known: Known,
    reach: Reach,
    fact: facts.RetakeCalled,
    items: tuple[str, ...],
    redone: list[str],
) -> list[Reached]:
    """Where the redo begins of hook-ups that the caller wants redone."""
    found = []
    for look in reach.look_at:
        if look.scene in redone:
            department = entry_department(known, fact.back_to, items, look.scene)
            if department is not None:
                share = max(share_of(known, item, fact) for item in items)
                found.append(Reached((look.scene, department), None, share))
    return found


def retake_called(draft: Draft, event: Event, fact: facts.RetakeCalled) -> None:
    """Record the call with its reach, and let every visit reached know of it."""
    reach = reach_of(draft, event, fact)
    items = named_items(event, fact)
    draft.retakes[fact.retake] = Retake(
        position=event.position,
        subject=event.subject,
        called_us=event.time_us,
        kind=fact.kind,
        urgency=fact.urgency,
        back_to=fact.back_to,
        strands=frozenset(fact.strands),
        items=items,
        share_e4=max(share_of(draft, item, fact) for item in items),
        drawings=fact.drawings,
        found_at=fact.found_at,
        fault_of=fact.fault_of,
        asked_by=fact.asked_by,
        reach=reach.reached,
        look_at=reach.look_at,
        marks=tuple((other.scene, other.mark) for other in fact.dependents),
        called_by=event.role,
    )
    _call(draft, event, fact.retake, reach.reached)


def _call(draft: Draft, event: Event, code: str, reached: tuple[Reached, ...]) -> None:
    for step in reached:
        enter_move(draft, event, step.node, Move.CALL, retake=code, share_e4=step.share_e4)
    lending = Lending(draft)
    # an omitted scene that a call merely reaches says nothing: it stays out whatever is called
    asked = (step.node for step in reached if step.via is None or delivered(draft, step.node[0]))
    if any(_asks(draft, code, node) and not lending.needs(*node) for node in asked):
        add_mark(draft, event.position, NOT_PLANNED)


def _asks(known: Known, code: str, node: Node) -> bool:
    """Whether a retake asks for work of a visit's newest take."""
    return any(asked == code for asked, _ in visit_of(known, *node).current.shares)


def redo_seeds(
    known: Known, retake: Retake, look: LookAt, back_to: str | None
) -> tuple[Reached, ...]:
    """Where the redo of a scene begins that was listed to look at."""
    if back_to is None and look.via:
        return look.via
    department = back_to or entry_department(known, retake.back_to, retake.items, look.scene)
    if department is None:
        return ()
    return (Reached((look.scene, department), None, retake.share_e4),)


def grown_reach(known: Known, retake: Retake, look: LookAt, back_to: str | None) -> Reach:
    """What the redo of a scene listed to look at reaches; the other marks of the call hold."""
    marks = dict(retake.marks)
    redone = [scene for scene, mark in retake.marks if mark == "redo"]
    for other in retake.look_at:
        if other.answer == "redo":
            redone.append(other.scene)
        elif other.answer and other.reason == "marked":
            marks[other.scene] = "leave"
    named = with_episodes(known, [*retake.items, *redone, look.scene])
    seeds = redo_seeds(known, retake, look, back_to)
    return compute_reach(known, seeds, retake.strands, marks, named)


def grown_shares(known: Known, code: str, reached: tuple[Reached, ...]) -> tuple[Reached, ...]:
    """The steps of a grown reach; an episode that waits is touched more by each scene redone."""
    steps = []
    for step in reached:
        take = visit_of(known, *step.node).current
        asked = sum(share for retake, share in take.shares if retake == code)
        if step.node[0] in known.episodes and not take.begun and asked:
            step = step._replace(share_e4=min(ONE_E4, asked + step.share_e4))  # noqa: PLW2901  # the same step
        steps.append(step)
    return tuple(steps)


def look_at_answered(draft: Draft, event: Event, fact: supervision.LookAtAnswered) -> None:
    """Fine as it is, or the retake's reach grows by the scene and what stands behind it."""
    if fact.retake is None:
        del draft.touched[event.subject]
        return
    retake = draft.retakes[fact.retake]
    look = next(look for look in retake.look_at if look.scene == event.subject)
    answered = tuple(
        other._replace(answer=fact.answer) if other.scene == event.subject else other
        for other in retake.look_at
    )
    if fact.answer != "redo":
        draft.retakes[fact.retake] = retake._replace(look_at=answered)
        return
    grown = grown_reach(draft, retake, look, fact.back_to)
    known = {step.node for step in retake.reach}
    new = tuple(step for step in grown.reached if step.node not in known)
    listed = {other.scene for other in answered} | {item for item, _ in known}
    more = tuple(other for other in grown.look_at if other.scene not in listed)
    draft.retakes[fact.retake] = retake._replace(reach=retake.reach + new, look_at=answered + more)
    # visits already in reach hear of it again: what was handed off since must be done anew
    _call(draft, event, fact.retake, grown_shares(draft, fact.retake, grown.reached))


def retake_withdrawn(draft: Draft, event: Event, fact: facts.RetakeWithdrawn) -> None:
    """Cancel what has not begun and follows nothing begun."""
    _end(draft, event, fact.retake, "withdrawn")


def retake_bought_as_is(draft: Draft, event: Event, fact: facts.RetakeBoughtAsIs) -> None:
    """The fault stays in; cancels as a withdrawal does."""
    _end(draft, event, fact.retake, "bought-as-is")


def _end(draft: Draft, event: Event, code: str, standing: str) -> None:
    retake = draft.retakes[code]
    for node in cancelled_by_withdrawal(draft, code, retake):
        enter_move(draft, event, node, Move.UNCALL, retake=code)
    draft.retakes[code] = retake._replace(standing=standing)
