"""Scenes that were looked at."""

from service.production.asking import (
    Reasons,
    on_route,
    the_scene,
)
from service.production.nouns.retakes import calls, reopen, reopens
from service.production.nouns.rule import Rule
from service.production.reach import (
    Reach,
    compute_reach,
    entry_department,
    with_episodes,
)
from service.production.refusal import Code, Reason
from service.production.state import AnyState, Draft, LookAt, Reached, Retake, visit_of
from service.production.touched import to_look_at
from service.vocabulary.event import Event
from service.vocabulary.facts.supervision import LookAtAnswered
from service.vocabulary.quantities import ONE_E4


def check_look_at_answered(draft: Draft, event: Event, fact: LookAtAnswered) -> Reasons:
    """What a standing retake listed to look at is answered once; so is what a change touched."""
    if fact.retake is None:
        yield from _change_looked_at(draft, event, fact)
        return
    retake = draft.retakes.get(fact.retake)
    if retake is None:
        yield Reason(Code.UNKNOWN, f"there is no retake {fact.retake}", "/data/retake")
        return
    look = next((look for look in retake.look_at if look.scene == event.subject), None)
    if look is None:
        yield Reason(
            Code.CONTRADICTION,
            f"{fact.retake} does not ask to look at {event.subject}",
            "/subject",
        )
        return
    if look.answer:
        yield Reason(Code.CONTRADICTION, f"answered already: {look.answer}", "/subject")
    if retake.standing != "standing":
        yield Reason(
            Code.CONTRADICTION,
            f"{fact.retake} no longer stands: {retake.standing}",
            "/data/retake",
        )
    if event.time_us < retake.called_us:
        yield Reason(Code.TIME_ORDER, f"{fact.retake} was called only after that", "/time")
    if fact.back_to is not None:
        wrong = list(
            on_route(event.subject, draft.scenes[event.subject], fact.back_to, "/data/back_to")
        )
        yield from wrong
        if wrong:
            return
    if fact.answer == "redo":
        yield from _redone(draft, event, fact, fact.retake, retake, look)


def apply_look_at_answered(draft: Draft, event: Event, fact: LookAtAnswered) -> None:
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
    reached = {step.node for step in retake.reach}
    new = tuple(step for step in grown.reached if step.node not in reached)
    listed = {other.scene for other in answered} | {item for item, _ in reached}
    more = tuple(other for other in grown.look_at if other.scene not in listed)
    draft.retakes[fact.retake] = retake._replace(reach=retake.reach + new, look_at=answered + more)
    # visits already in reach hear of it again: what was handed off since must be done anew
    reopen(draft, event, fact.retake, grown_shares(draft, fact.retake, grown.reached))


def _say_look_at_answered(event: Event, fact: LookAtAnswered) -> str:
    answer = "fine as it is" if fact.answer == "fine" else "to be redone"
    because = "it changed" if fact.retake is None else f"of {fact.retake}"
    return f"{event.subject} was looked at because {because}: {answer}."


def _change_looked_at(draft: Draft, event: Event, fact: LookAtAnswered) -> Reasons:
    """Whether a scene that changed is to be looked at, and is said to be fine."""
    yield from the_scene(draft, event.subject)
    changes = to_look_at(draft, event.subject)
    if event.subject in draft.scenes and not changes:
        yield Reason(
            Code.CONTRADICTION,
            f"nothing of {event.subject} is to be looked at because it changed; if a retake lists "
            "it, name the retake",
            "/subject",
        )
    if fact.answer != "fine":
        yield Reason(
            Code.CONTRADICTION,
            "what is to be redone because the scene changed is called as a retake; call it, or "
            "answer fine",
            "/data/answer",
        )
    if any(event.time_us < found.change.at_us for found in changes):
        yield Reason(Code.TIME_ORDER, f"{event.subject} changed only after that", "/time")


def _redone(
    draft: Draft,
    event: Event,
    fact: LookAtAnswered,
    code: str,
    retake: Retake,
    look: LookAt,
) -> Reasons:
    """Whether a scene can be redone: where it begins something must have begun."""
    seeds = redo_seeds(draft, retake, look, fact.back_to)
    if not seeds:
        yield Reason(
            Code.CONTRADICTION,
            "say back_to: the retake's department is not on its route",
            "/data/back_to",
        )
        return
    named = [seed.node for seed in seeds if seed.via is None]
    if not all(reopens(draft, event, code, node) for node in named):
        yield Reason(
            Code.CONTRADICTION,
            f"{event.subject} had not begun there by then, so there is nothing to redo",
            "/data/back_to",
        )
    grown = grown_reach(draft, retake, look, fact.back_to)
    yield from calls(draft, event, code, grown.reached)


def redo_seeds(
    state: AnyState, retake: Retake, look: LookAt, back_to: str | None
) -> tuple[Reached, ...]:
    """Where the redo of a scene begins that was listed to look at."""
    if back_to is None and look.via:
        return look.via
    department = back_to or entry_department(state, retake.back_to, retake.items, look.scene)
    if department is None:
        return ()
    return (Reached((look.scene, department), None, retake.share_e4),)


def grown_reach(state: AnyState, retake: Retake, look: LookAt, back_to: str | None) -> Reach:
    """What the redo of a scene listed to look at reaches; the other marks of the call hold."""
    marks = dict(retake.marks)
    redone = [scene for scene, mark in retake.marks if mark == "redo"]
    for other in retake.look_at:
        if other.answer == "redo":
            redone.append(other.scene)
        elif other.answer and other.reason == "marked":
            marks[other.scene] = "leave"
    named = with_episodes(state, [*retake.items, *redone, look.scene])
    seeds = redo_seeds(state, retake, look, back_to)
    return compute_reach(state, seeds, retake.strands, marks, named)


def grown_shares(state: AnyState, code: str, reached: tuple[Reached, ...]) -> tuple[Reached, ...]:
    """The steps of a grown reach; an episode that waits is touched more by each scene redone."""
    steps = []
    for step in reached:
        take = visit_of(state, *step.node).current
        share_e4 = sum(share for retake, share in take.shares if retake == code)
        if step.node[0] in state.episodes and not take.begun and share_e4:
            step = step._replace(share_e4=min(ONE_E4, share_e4 + step.share_e4))  # noqa: PLW2901  # the same step
        steps.append(step)
    return tuple(steps)


RULES = {
    "look-at.answered": Rule(check_look_at_answered, apply_look_at_answered, _say_look_at_answered),
}
