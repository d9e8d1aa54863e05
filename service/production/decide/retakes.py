"""What may be said of retakes."""

from service.production.decide.asking import Reasons, legal, on_route, the_department, the_scene
from service.production.evolve.entering import try_move
from service.production.evolve.retakes import named_items, reach_of
from service.production.reach import cancelled_by_withdrawal
from service.production.refusal import Code, Reason
from service.production.state import Draft, Node, Reached, Retake, item_of, visit_of
from service.production.visits import Illegal, Move
from service.vocabulary.event import Event
from service.vocabulary.facts import retakes as facts
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import format_instant


def retake_called(draft: Draft, event: Event, fact: facts.RetakeCalled) -> Reasons:
    """A call names visits that have begun, and says how much of them is touched."""
    against = [*_code(draft, fact), *_items(draft, event, fact), *_share(draft, event, fact)]
    if not against:
        if fact.dependents:
            against += _dependents(draft, event, fact)
        against += calls(draft, event, fact.retake, reach_of(draft, event, fact).reached)
    yield from against


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
    return any(asked == code for take in tried.takes for asked, _ in take.shares)


def _code(draft: Draft, fact: facts.RetakeCalled) -> Reasons:
    if fact.retake in draft.retakes:
        yield Reason(Code.EXISTS, f"retake {fact.retake} is called already", "/data/retake")
    if fact.fault_of is not None:
        yield from the_department(draft, fact.fault_of, "/data/fault_of")


def _items(draft: Draft, event: Event, fact: facts.RetakeCalled) -> Reasons:
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


def _share(draft: Draft, event: Event, fact: facts.RetakeCalled) -> Reasons:
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


def _dependents(draft: Draft, event: Event, fact: facts.RetakeCalled) -> Reasons:
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
    draft: Draft, event: Event, fact: facts.RetakeCalled, step: Reached, member: str
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


def retake_withdrawn(draft: Draft, event: Event, fact: facts.RetakeWithdrawn) -> Reasons:
    """A standing retake may be withdrawn."""
    yield from _standing(draft, event, fact.retake)


def retake_bought_as_is(draft: Draft, event: Event, fact: facts.RetakeBoughtAsIs) -> Reasons:
    """A standing retake may be bought as is."""
    yield from _standing(draft, event, fact.retake)
