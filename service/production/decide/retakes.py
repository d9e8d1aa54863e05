"""What may be said of retakes."""

from service.production.decide.asking import Reasons, begun, legal, on_route, the_scene
from service.production.evolve.entering import try_move
from service.production.evolve.retakes import named_items, reach_of
from service.production.reach import Reach, cancelled_by_withdrawal
from service.production.refusal import Code, Reason
from service.production.state import Draft, item_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import retakes as facts
from service.vocabulary.identifiers import parse_subject


def retake_called(draft: Draft, event: Event, fact: facts.RetakeCalled) -> Reasons:
    """A call names visits that have begun, and says how much of them is touched."""
    against = [*_code(draft, fact), *_items(draft, event, fact), *_share(draft, event, fact)]
    if not against:
        reach = reach_of(draft, event, fact)
        against += _dependents(draft, event, fact, reach)
        for step in reach.reached:
            tried = try_move(
                draft, event, step.node, Move.CALL, retake=fact.retake, share_e4=step.share_e4
            )
            against += legal(event, step.node, tried)
    yield from against


def _code(draft: Draft, fact: facts.RetakeCalled) -> Reasons:
    if fact.retake in draft.retakes:
        yield Reason(Code.EXISTS, f"retake {fact.retake} is called already", "/data/retake")


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
        if not wrong and not begun(draft, (item, fact.back_to)):
            yield Reason(
                Code.CONTRADICTION,
                f"{item} has not begun at {fact.back_to}, so there is nothing to reopen there",
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


def _dependents(draft: Draft, event: Event, fact: facts.RetakeCalled, reach: Reach) -> Reasons:
    items = set(named_items(event, fact))
    unmarked = reach_of(draft, event, _without_marks(fact)) if fact.dependents else reach
    reached = {step.node[0] for step in (*unmarked.reached, *reach.reached)}
    reached |= {look.scene for look in (*unmarked.look_at, *reach.look_at)}
    seen: set[str] = set()
    for place, dependent in enumerate(fact.dependents):
        member = f"/data/dependents/{place}/scene"
        scene = draft.scenes.get(dependent.scene)
        if scene is None:
            yield from the_scene(draft, dependent.scene, member)
        elif dependent.scene in items:
            yield Reason(Code.CONTRADICTION, f"{dependent.scene} is itself named", member)
        elif dependent.scene in seen:
            yield Reason(Code.CONTRADICTION, f"{dependent.scene} is marked twice", member)
        elif dependent.scene not in reached:
            yield Reason(
                Code.CONTRADICTION,
                f"the retake does not reach {dependent.scene}; leave it out, or name it in items",
                member,
            )
        elif dependent.mark == "redo" and all(
            step.node[0] != dependent.scene for step in reach.reached
        ):
            yield Reason(
                Code.NOT_ON_ROUTE, f"{dependent.scene} does not visit {fact.back_to}", member
            )
        elif dependent.mark == "redo" and _unbegun_seed(draft, dependent.scene, fact, reach):
            yield Reason(
                Code.CONTRADICTION, f"{dependent.scene} has not begun at {fact.back_to}", member
            )
        seen.add(dependent.scene)


def _unbegun_seed(draft: Draft, scene: str, fact: facts.RetakeCalled, reach: Reach) -> bool:
    node = (scene, fact.back_to)
    seeded = any(step.node == node and step.via is None for step in reach.reached)
    return seeded and not begun(draft, node)


def _without_marks(fact: facts.RetakeCalled) -> facts.RetakeCalled:
    values = {name: getattr(fact, name) for name in fact.__slots__}
    return facts.RetakeCalled(**{**values, "dependents": ()})


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
        for node in cancelled_by_withdrawal(draft, code, retake):
            yield from legal(event, node, try_move(draft, event, node, Move.UNCALL, retake=code))


def retake_withdrawn(draft: Draft, event: Event, fact: facts.RetakeWithdrawn) -> Reasons:
    """A standing retake may be withdrawn."""
    yield from _standing(draft, event, fact.retake)


def retake_bought_as_is(draft: Draft, event: Event, fact: facts.RetakeBoughtAsIs) -> Reasons:
    """A standing retake may be bought as is."""
    yield from _standing(draft, event, fact.retake)
