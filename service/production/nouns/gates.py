"""The dates that an episode must meet."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from service.production.asking import Reasons, the_episode
from service.production.marking import add_mark
from service.production.marks import DATE_PAST, GATE_OF_NOBODY, GATES_OUT_OF_ORDER, HARD_DATE_MOVED
from service.production.nouns.rule import Rule
from service.production.oddities import is_past
from service.production.permission import Actor
from service.production.refusal import Code, Reason
from service.production.state import AnyState, Draft, Episode, Gate
from service.production.wording import because
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.office import GateSet
from service.vocabulary.facts.orders import ChangeOrderApproved
from service.vocabulary.facts.record import EventStruck

CUT_OFF = "retake-cut-off"
"""A day from which on, and nothing that a department hands off."""
SLIP_US = 3_600_000_000
"""How long after it was recorded whoever made a date hard by mistake may strike that: an hour."""


_RANKS = {"rough-cut": 0, "lock": 1, "retake-cut-off": 1, "delivery": 2, "air": 3}
"""The order in which gates are met; shows differ in whether the lock or the cut-off comes first."""


def check_gate_set(draft: Draft, event: Event, fact: GateSet) -> Reasons:
    """A gate is set of an episode that is in the record.

    What there is against new dates alone, hard ones among them, is asked in `new_dates_against`.
    """
    yield from the_episode(draft, event.subject)


def apply_gate_set(draft: Draft, event: Event, fact: GateSet) -> None:
    """A date an episode must meet; what is odd about it is marked."""
    episode = draft.episodes[event.subject]
    before = episode.gate(fact.gate)
    was_hard = before is not None and before.hard
    gate = Gate(fact.due_on, was_hard if fact.hard is None else fact.hard)
    gates = dict(episode.gates) | {fact.gate: gate}
    if moves_hard_date(episode, fact):
        add_mark(draft, event.position, HARD_DATE_MOVED)
    if fact.gate not in episode.route.gates and fact.gate != CUT_OFF:
        add_mark(draft, event.position, GATE_OF_NOBODY)
    if is_past(draft, fact.due_on, event):
        add_mark(draft, event.position, DATE_PAST)
    if not _in_order({name: one.due_on for name, one in gates.items()}, fact.gate):
        add_mark(draft, event.position, GATES_OUT_OF_ORDER)
    draft.episodes[event.subject] = episode._replace(gates=tuple(gates.items()))


def _say_gate_set(event: Event, fact: GateSet) -> str:
    kind = "" if fact.hard is None else " (hard)" if fact.hard else " (soft)"
    gate = f"The {fact.gate} gate of {event.subject}"
    return f"{gate} was set to {fact.due_on}{kind}{because(fact)}."


def new_dates_against(draft: Draft, event: Event, actor: Actor | None) -> list[Reason]:
    """What is against dates that a fact sets, asked of what is new alone.

    A date that stands in the record stays what it was, by whatever rules it was set.
    """
    fact = event.fact
    if isinstance(fact, GateSet):
        against = _delivered_against(draft, event.subject, fact.gate, "/subject")
        return against or _hard_date_against(draft, event, fact, actor)
    if isinstance(fact, ChangeOrderApproved):
        return [
            reason
            for place, move in enumerate(fact.gates)
            for reason in _delivered_against(
                draft, move.episode, move.gate, f"/data/gates/{place}/episode"
            )
        ]
    return []


def _delivered_against(draft: Draft, name: str, gate: str, member: str) -> list[Reason]:
    """Whether a delivered episode keeps its date: any but that of air, which lies behind it."""
    if not draft.episodes[name].delivered or gate == "air":
        return []
    detail = (
        f"{name} is delivered, and its {gate} date stays as it stood then; if a date was forgotten "
        "or wrong, strike the delivery, set the date and record the delivery again, in one batch"
    )
    return [Reason(Code.CONTRADICTION, detail, member)]


def _hard_date_against(
    draft: Draft, event: Event, fact: GateSet, actor: Actor | None
) -> list[Reason]:
    """Whether a hard date may be moved so: by the producer who says why.

    What an approved change order moves is not asked about here, and a question (no actor) moves
    nothing.
    """
    if actor is None or not moves_hard_date(draft.episodes[event.subject], fact):
        return []
    gate = draft.episodes[event.subject].gate(fact.gate)
    date = "" if gate is None else f", {gate.due_on}"
    hard = f"the {fact.gate} date of {event.subject}{date} is hard"
    if actor.role is not Role.PRODUCER:
        detail = f"{hard}: it moves with an approved change order, or by the producer with a reason"
        return [Reason(Code.FORBIDDEN, detail, "/data/due_on")]
    if fact.reason is None:
        return [Reason(Code.CONTRADICTION, f"{hard}; say the reason why it moves", "/data/reason")]
    return []


class Strike(NamedTuple):
    """A strike of a batch: its place there, its event and fact, and the event that it strikes."""

    place: int
    event: Event
    fact: EventStruck
    struck: Event


def strikes_against(
    state: AnyState,
    without: AnyState,
    strikes: Sequence[Strike],
    unstruck: Sequence[Event],
    actor: Actor | None,
) -> Iterator[Reason]:
    """What is against strikes by which a hard date moves, goes, becomes soft or comes back.

    `state` is the state with what they strike and `without` the one without it, `unstruck` what
    stands of the log since before it. The producer strikes so, and whoever made a date hard by a
    slip of theirs; they say a reason, which is public and which marks the strike. No other strike
    has one. A question (no actor) moves nothing.
    """
    for place, event, strike, struck in strikes:
        fact, reason = struck.fact, strike.reason
        if not isinstance(fact, GateSet) or not _moves(state, without, struck.subject, fact.gate):
            if reason is not None:
                detail = (
                    f"no hard date moves by striking event {struck.position}: leave the reason "
                    "out, and say why in why"
                )
                yield Reason(Code.CONTRADICTION, detail, "/data/reason", place)
            continue
        if actor is None:
            continue
        hard = (
            f"striking event {struck.position} moves a hard date, {fact.gate} of {struck.subject}"
        )
        if actor.role is not Role.PRODUCER and not _is_slip(
            event, struck, fact.gate, unstruck, actor
        ):
            detail = (
                f"{hard}: the producer strikes it with a reason, or within an hour whoever made "
                "the date hard, as long as no other has been set"
            )
            yield Reason(Code.FORBIDDEN, detail, "/data/position", place)
        elif reason is None:
            detail = f"{hard}; say the reason, which is public"
            yield Reason(Code.CONTRADICTION, detail, "/data/reason", place)


def _moves(state: AnyState, without: AnyState, name: str, gate: str) -> bool:
    """Whether a date that is hard in either state is another in the other."""
    dates = [
        None if episode is None else episode.gate(gate)
        for episode in (state.episodes.get(name), without.episodes.get(name))
    ]
    return dates[0] != dates[1] and any(date is not None and date.hard for date in dates)


def _is_slip(
    strike: Event, struck: Event, gate: str, unstruck: Sequence[Event], actor: Actor
) -> bool:
    """Whether an event was recorded by this actor just now, and set its gate last."""
    if (struck.poster, struck.role) != (actor.name, actor.role):
        return False
    if strike.recorded_us - struck.recorded_us > SLIP_US:
        return False
    gates = [
        event.position
        for event in unstruck
        if isinstance(event.fact, GateSet)
        and (event.subject, event.fact.gate) == (struck.subject, gate)
    ]
    return gates[-1] == struck.position


def moves_hard_date(episode: Episode, fact: GateSet) -> bool:
    """Whether a hard date of an episode would become another, or soft."""
    gate = episode.gate(fact.gate)
    if gate is None or not gate.hard:
        return False
    return gate.due_on != fact.due_on or fact.hard is False


def _in_order(dates: Mapping[str, date], gate: str) -> bool:
    """Whether no gate before this one has a later date, and none behind it an earlier one."""
    before = [on for name, on in dates.items() if _RANKS[name] < _RANKS[gate]]
    behind = [on for name, on in dates.items() if _RANKS[name] > _RANKS[gate]]
    return max(before, default=dates[gate]) <= dates[gate] <= min(behind, default=dates[gate])


RULES = {
    "gate.set": Rule(check_gate_set, apply_gate_set, _say_gate_set),
}
