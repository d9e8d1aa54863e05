"""Retakes: called, withdrawn, bought as is."""

from service.production.asking import Reasons, legal, on_route, the_department, the_scene
from service.production.entering import enter_move, try_move
from service.production.lending import Lending
from service.production.marking import add_mark
from service.production.marks import NOT_PLANNED
from service.production.nouns.rule import Rule
from service.production.reach import (
    Reach,
    cancelled_by_withdrawal,
    compute_reach,
    delivered,
    entries_of,
    entry_department,
    with_episodes,
)
from service.production.refusal import Code, Reason
from service.production.state import AnyState, Draft, Node, Reached, Retake, item_of, visit_of
from service.production.visits import Illegal, Move
from service.production.wording import counted, drawings_of, percent
from service.vocabulary.event import Event
from service.vocabulary.facts.retakes import RetakeBoughtAsIs, RetakeCalled, RetakeWithdrawn
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import format_instant
from service.vocabulary.quantities import ONE_E4, ceil_div


def check_retake_called(draft: Draft, event: Event, fact: RetakeCalled) -> Reasons:
    """A call names visits that have begun, and says how much of them is touched."""
    against = [*_code(draft, fact), *_items(draft, event, fact), *_share(draft, event, fact)]
    if not against:
        if fact.dependents:
            against += _dependents(draft, event, fact)
        against += calls(draft, event, fact.retake, reach_of(draft, event, fact).reached)
    yield from against


def apply_retake_called(draft: Draft, event: Event, fact: RetakeCalled) -> None:
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
    reopen(draft, event, fact.retake, reach.reached)


def _say_retake_called(event: Event, fact: RetakeCalled) -> str:
    what = counted(len(fact.items), "item") if fact.items else event.subject
    kind = fact.kind.capitalize()
    strands = " and ".join(fact.strands)
    return (
        f"{kind} {fact.retake} ({fact.urgency}) was called on {what}, back to {fact.back_to}: "
        f"{strands}{_scope(fact)}; asked for by {fact.asked_by}."
    )


def _scope(fact: RetakeCalled) -> str:
    if fact.share_e4 is not None:
        return f", {percent(fact.share_e4)} of the drawings"
    drawings = drawings_of(fact)
    return "" if drawings is None else f", {drawings} each"


def check_retake_withdrawn(draft: Draft, event: Event, fact: RetakeWithdrawn) -> Reasons:
    """A standing retake may be withdrawn."""
    yield from _standing(draft, event, fact.retake)


def apply_retake_withdrawn(draft: Draft, event: Event, fact: RetakeWithdrawn) -> None:
    """Cancel what has not begun and follows nothing begun."""
    _end(draft, event, fact.retake, "withdrawn")


def _say_retake_withdrawn(event: Event, fact: RetakeWithdrawn) -> str:
    return f"{fact.retake} was withdrawn."


def check_retake_bought_as_is(draft: Draft, event: Event, fact: RetakeBoughtAsIs) -> Reasons:
    """A standing retake may be bought as is."""
    yield from _standing(draft, event, fact.retake)


def apply_retake_bought_as_is(draft: Draft, event: Event, fact: RetakeBoughtAsIs) -> None:
    """The fault stays in; cancels as a withdrawal does."""
    _end(draft, event, fact.retake, "bought-as-is")


def _say_retake_bought_as_is(event: Event, fact: RetakeBoughtAsIs) -> str:
    return f"The fault of {fact.retake} was left in: bought as is."


def calls(draft: Draft, event: Event, code: str, reached: tuple[Reached, ...]) -> Reasons:
    """Whether every visit reached can hear of the call."""
    for step in reached:
        tried = try_move(draft, event, step.node, Move.CALL, retake=code, share_e4=step.share_e4)
        yield from legal(event, step.node, tried)


def reopens(draft: Draft, event: Event, code: str, node: Node) -> bool:
    """Whether a call would find something begun at a visit; True where it cannot be entered."""
    tried = try_move(draft, event, node, Move.CALL, retake=code)
    if isinstance(tried, Illegal):
        return True
    return any(retake == code for take in tried.takes for retake, _ in take.shares)


def _code(draft: Draft, fact: RetakeCalled) -> Reasons:
    if fact.retake in draft.retakes:
        yield Reason(Code.EXISTS, f"retake {fact.retake} is called already", "/data/retake")
    if fact.fault_of is not None:
        yield from the_department(draft, fact.fault_of, "/data/fault_of")


def _items(draft: Draft, event: Event, fact: RetakeCalled) -> Reasons:
    subject = parse_subject(event.subject)
    for place, item in enumerate(named_items(event, fact)):
        member = f"/data/items/{place}" if fact.items else "/subject"
        found = item_of(draft, item)
        named = parse_subject(item)
        if found is None:
            yield Reason(
                Code.UNKNOWN,
                f"{item} is not in the record; name scenes, elements or an episode",
                member,
            )
            continue
        if named is None or subject is None or named.show != subject.show:
            yield Reason(Code.CONTRADICTION, f"{item} is of another show than the subject", member)
        wrong = list(on_route(item, found, fact.back_to, "/data/back_to"))
        yield from wrong
        if not wrong and not reopens(draft, event, fact.retake, (item, fact.back_to)):
            yield Reason(
                Code.CONTRADICTION,
                f"{item} had not begun at {fact.back_to} by then, so there is nothing to reopen",
                member,
            )


def _share(draft: Draft, event: Event, fact: RetakeCalled) -> Reasons:
    if (fact.share_e4 is None) == (fact.drawings is None):
        yield Reason(
            Code.CONTRADICTION, "say either share or drawings: how much is touched", "/data/share"
        )
    elif fact.drawings is not None:
        for item in named_items(event, fact):
            drawings = getattr(item_of(draft, item), "drawings", 0)
            if drawings < fact.drawings:
                yield Reason(
                    Code.CONTRADICTION,
                    f"{item} has {drawings} drawings; say a share instead",
                    "/data/drawings",
                )


def _dependents(draft: Draft, event: Event, fact: RetakeCalled) -> Reasons:
    items = set(named_items(event, fact))
    cut = frozenset(other.scene for other in fact.dependents if other.mark != "redo")
    whole = reach_of(draft, event, fact, but=cut)
    entered: dict[str, Reached] = {}
    for step in whole.reached:
        entered.setdefault(step.node[0], step)
    listed = {look.scene for look in whole.look_at}
    seen: set[str] = set()
    for place, other in enumerate(fact.dependents):
        member = f"/data/dependents/{place}/scene"
        if other.scene not in draft.scenes:
            yield from the_scene(draft, other.scene, member)
        elif other.scene in items:
            yield Reason(Code.CONTRADICTION, f"{other.scene} is itself named", member)
        elif other.scene in seen:
            yield Reason(Code.CONTRADICTION, f"{other.scene} is marked twice", member)
        elif other.scene in entered and other.mark == "redo":
            yield from _hook_up_redone(draft, event, fact, entered[other.scene], member)
        elif other.scene in listed and other.mark == "redo":
            yield Reason(Code.NOT_ON_ROUTE, f"{other.scene} does not visit {fact.back_to}", member)
        elif other.scene not in entered and other.scene not in listed:
            yield Reason(
                Code.CONTRADICTION,
                f"the retake does not reach {other.scene}; leave it out, or name it in items",
                member,
            )
        seen.add(other.scene)


def _hook_up_redone(
    draft: Draft, event: Event, fact: RetakeCalled, step: Reached, member: str
) -> Reasons:
    """A hook-up that is to be redone must have begun; what an arc reaches need not have."""
    item, department = step.node
    if step.via is None and not reopens(draft, event, fact.retake, step.node):
        yield Reason(
            Code.CONTRADICTION,
            f"{item} had not begun at {department} by then, so there is nothing to redo",
            member,
        )


def _standing(draft: Draft, event: Event, code: str) -> Reasons:
    retake = draft.retakes.get(code)
    if retake is None:
        yield Reason(Code.UNKNOWN, f"there is no retake {code}", "/data/retake")
    elif retake.standing != "standing":
        yield Reason(
            Code.CONTRADICTION, f"{code} no longer stands: {retake.standing}", "/data/retake"
        )
    else:
        if retake.subject != event.subject:
            yield Reason(Code.CONTRADICTION, f"{code} was called on {retake.subject}", "/subject")
        called_us = _called_last_us(draft, code, retake)
        if event.time_us < called_us:
            yield Reason(
                Code.TIME_ORDER,
                f"{code} was still called at {format_instant(called_us)}; correct the time",
                "/time",
            )
            return
        for node in cancelled_by_withdrawal(draft, code, retake):
            yield from legal(event, node, try_move(draft, event, node, Move.UNCALL, retake=code))


def _called_last_us(draft: Draft, code: str, retake: Retake) -> int:
    """When a retake was called, or last grew by an answer."""
    grown = (
        entry.at_us
        for step in retake.reach
        for entry in visit_of(draft, *step.node).entries
        if entry.retake == code and entry.move is Move.CALL
    )
    return max(grown, default=retake.called_us)


def share_of(state: AnyState, item: str, fact: RetakeCalled) -> int:
    """The share of an item's drawings that a call touches, in ten-thousandths."""
    if fact.share_e4 is not None:
        return fact.share_e4
    found = item_of(state, item)
    drawings = getattr(found, "drawings", 0)
    if fact.drawings is None or drawings == 0:
        return ONE_E4
    return min(ONE_E4, ceil_div(fact.drawings * ONE_E4, drawings))


def named_items(event: Event, fact: RetakeCalled) -> tuple[str, ...]:
    """What a call names: its items, or its subject."""
    return tuple(dict.fromkeys(fact.items)) or (event.subject,)


def reach_of(
    state: AnyState, event: Event, fact: RetakeCalled, *, but: frozenset[str] = frozenset()
) -> Reach:
    """What a call would reach, by the arcs as they stand; marks for scenes in `but` left out.

    A scene marked redo is redone although its episode is delivered, although it is only listed as
    a hook-up, and although another mark cuts off the way by which it is reached.
    """
    key = ("reach", event.position, but)
    if isinstance(state, Draft) and key in state.worked_out:
        worked_out: Reach = state.worked_out[key]
        return worked_out
    reach = _reach(state, event, fact, but)
    if isinstance(state, Draft):
        state.worked_out[key] = reach
    return reach


def _reach(state: AnyState, event: Event, fact: RetakeCalled, but: frozenset[str]) -> Reach:
    items = named_items(event, fact)
    strands = frozenset(fact.strands)
    marks = {other.scene: other.mark for other in fact.dependents if other.scene not in but}
    redone = [scene for scene, mark in marks.items() if mark == "redo"]
    seeds = [Reached((item, fact.back_to), None, share_of(state, item, fact)) for item in items]
    named = with_episodes(state, [*items, *redone])
    reach = compute_reach(state, seeds, strands, {}, named)
    while more := _hook_ups_redone(state, reach, fact, items, redone):
        seeds += more
        reach = compute_reach(state, seeds, strands, {}, named)
    if len(redone) == len(marks):
        return reach
    whole, reach = reach, compute_reach(state, seeds, strands, marks, named)
    reached = {step.node[0] for step in reach.reached}
    cut_off = [
        step._replace(via=None)
        for step in entries_of(whole.reached)
        if step.node[0] in redone and step.node[0] not in reached
    ]
    return compute_reach(state, [*seeds, *cut_off], strands, marks, named) if cut_off else reach


def _hook_ups_redone(
    state: AnyState,
    reach: Reach,
    fact: RetakeCalled,
    items: tuple[str, ...],
    redone: list[str],
) -> list[Reached]:
    """Where the redo begins of hook-ups that the caller wants redone."""
    found = []
    for look in reach.look_at:
        if look.scene in redone:
            department = entry_department(state, fact.back_to, items, look.scene)
            if department is not None:
                share = max(share_of(state, item, fact) for item in items)
                found.append(Reached((look.scene, department), None, share))
    return found


def reopen(draft: Draft, event: Event, code: str, reached: tuple[Reached, ...]) -> None:
    """Have the visits of a reach done again for a retake."""
    for step in reached:
        enter_move(draft, event, step.node, Move.CALL, retake=code, share_e4=step.share_e4)
    lending = Lending(draft)
    # an omitted scene that a call merely reaches says nothing: it stays out whatever is called
    nodes = (step.node for step in reached if step.via is None or delivered(draft, step.node[0]))
    if any(asks(draft, code, node) and not lending.needs(*node) for node in nodes):
        add_mark(draft, event.position, NOT_PLANNED)


def _end(draft: Draft, event: Event, code: str, standing: str) -> None:
    retake = draft.retakes[code]
    for node in cancelled_by_withdrawal(draft, code, retake):
        enter_move(draft, event, node, Move.UNCALL, retake=code)
    draft.retakes[code] = retake._replace(standing=standing)


def asks(state: AnyState, code: str, node: Node) -> bool:
    """Whether a retake asks for work of a visit's newest take."""
    return any(retake == code for retake, _ in visit_of(state, *node).current.shares)


RULES = {
    "retake.called": Rule(check_retake_called, apply_retake_called, _say_retake_called),
    "retake.withdrawn": Rule(check_retake_withdrawn, apply_retake_withdrawn, _say_retake_withdrawn),
    "retake.bought-as-is": Rule(
        check_retake_bought_as_is, apply_retake_bought_as_is, _say_retake_bought_as_is
    ),
}
