"""The rules: whether proposed facts may be recorded, with every reason against at once.

Pure: the state, the past and the actor are passed in; what comes back is the state with the facts
in it, or a Refusal. Nothing of a batch is accepted unless all of it is.

A strike folds again from the nearest state kept before the struck event, and every later fact is
decided anew. One that this release would refuse, although it was accepted once, stands as it did.
Whether the actor may strike at all is asked first, since reading the past takes long under the
log's lock. Strikes of an event and of what rests on it go in one batch. A batch is decided without
what it strikes, wherever in it the strikes are: they are recorded in front of its other facts.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from msgspec.structs import replace

from service.production.decide import bounds, carrying
from service.production.folding import apply
from service.production.nouns import RULES, gates, orders
from service.production.nouns.orders import order_of
from service.production.orders import APPROVED, Quotes, positions_behind
from service.production.permission import Actor, permitted
from service.production.refusal import Code, Reason, Refusal
from service.production.state import Draft, State
from service.vocabulary.event import Event
from service.vocabulary.facts import Fact, Role
from service.vocabulary.facts.base import money_hidden_from
from service.vocabulary.facts.orders import ChangeOrderApproved, ChangeOrderRaised
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import format_instant

CLOCK_SKEW_US = 60_000_000


class Past(NamedTuple):
    """What a strike needs: a state before the struck events and what stands of the log since.

    `events` are in order of position, strikes among them; `struck` are positions struck before.
    """

    state: State
    events: tuple[Event, ...]
    struck: frozenset[int]


class Accepted(NamedTuple):
    """The state with the facts in it, what they strike, and all that is to be recorded.

    `events` are those proposed, and right behind each approval of an order the facts it consists
    of, which have a `cause`; positions follow on.
    """

    state: State
    struck: frozenset[int]
    events: tuple[Event, ...]


class Retold(NamedTuple):
    """A fold that sets aside what the rules refuse: the state, and what was set aside and why."""

    state: State
    set_aside: tuple[tuple[Event, tuple[Reason, ...]], ...]


def decide(
    state: State,
    events: Sequence[Event],
    actor: Actor | None,
    past: Past | None = None,
    quotes: Quotes | None = None,
) -> Accepted | Refusal:
    """Whether `events`, in order, may follow `state`.

    `actor` is who records them. None asks a question: nobody records them, so that any role's
    facts may stand together, strikes of them too; the record refuses what it would refuse else.
    `past` must be given when an event strikes; it reaches back before the first struck event.
    `quotes` must be given when one prices an order or approves it.

    Raises ValueError for a strike without the past.
    """
    reasons: list[Reason] = []
    strikes = {event.fact.position for event in events if isinstance(event.fact, EventStruck)}
    if strikes:
        if past is None:
            raise ValueError("a strike is decided against the past")
        struck_out = _strike(past, strikes, events, actor, state)
        if isinstance(struck_out, Refusal):
            return struck_out
        state = struck_out
    draft = Draft(state)
    recorded: list[Event] = []
    derived = 0
    for place, proposed in enumerate(events):
        event = _moved_on(proposed, derived)
        against = permitted(event, actor)
        if not against:
            against = [*out_of_time(event), *bounds.dates_against(event)]
            if event.fact.TYPE != EventStruck.TYPE:
                against += reasons_against(draft, event)
            against = against or gates.new_dates_against(draft, event, actor)
            against = against or orders.figures_against(draft, event, quotes)
        if not against:
            apply(draft, event)
            recorded.append(event)
            if isinstance(event.fact, ChangeOrderApproved):
                carried = carrying.approve(draft, event, event.fact, reasons_against)
                against = list(carried.reasons)
                recorded += carried.events
                derived += len(carried.events)
        reasons += [reason._replace(place=place) for reason in against]
    if reasons:
        return Refusal(tuple(reasons))
    return Accepted(draft.finish(), frozenset(strikes), tuple(recorded))


def strikes_first(facts: Sequence[Fact]) -> list[int]:
    """Places of a batch's facts in the order in which they are recorded.

    So every state on the way from one batch to the next is one that its facts could follow.
    """
    return sorted(range(len(facts)), key=lambda place: not isinstance(facts[place], EventStruck))


def _moved_on(event: Event, by: int) -> Event:
    """An event behind facts that come in before it."""
    return replace(event, position=event.position + by) if by else event


def out_of_time(event: Event) -> list[Reason]:
    """A fact dated beyond the clock, give or take a small skew, has not happened.

    One dated before 1970 is a mistake: no instant of ours is negative.
    """
    if event.time_us < 0:
        return [Reason(Code.TIME_ORDER, "the time lies before 1970; correct it", "/time")]
    if event.time_us > event.recorded_us + CLOCK_SKEW_US:
        now = format_instant(event.recorded_us)
        detail = f"the time lies in the future; record it when it happens: it is {now} here"
        return [Reason(Code.IN_FUTURE, detail, "/time")]
    return []


def reasons_against(draft: Draft, event: Event) -> list[Reason]:
    """Every reason the record gives against one fact."""
    subject = parse_subject(event.subject)
    if subject is None or subject.form not in event.fact.SUBJECTS:
        return [Reason(Code.UNKNOWN, f"{event.fact.TYPE} is not said of this", "/subject")]
    fact = event.fact
    against = list(RULES[fact.TYPE].check(draft, event, fact))
    if not against and isinstance(fact, ChangeOrderRaised) and fact.lines:
        order, at_us = order_of(event, fact), max(event.time_us, event.recorded_us)
        state = draft.branch()
        against += carrying.tried(
            state, fact.order, order, event.position, at_us, reasons_against
        ).reasons
    return against


def carried_out(state: State, code: str, position: int, at_us: int) -> tuple[State, ...] | Refusal:
    """The states after each line of an order, carried out at a moment behind a position.

    Refused where a line could not be carried out then; reasons name members of the order as it was
    raised. Raises KeyError for an order that is not in the state.
    """
    order = state.orders[code]
    carried = carrying.tried(state, code, order, position, at_us, reasons_against)
    return Refusal(carried.reasons) if carried.reasons else carried.states


def _strike(
    past: Past, strikes: set[int], events: Sequence[Event], actor: Actor | None, state: State
) -> State | Refusal:
    """The state without the struck events, if every later fact still stands without them.

    `state` is the state with them.
    """
    against: list[Reason] = []
    unstruck = {event.position: event for event in past.events}
    named: dict[int, gates.Strike] = {}
    for place, event in enumerate(events):
        if not isinstance(event.fact, EventStruck):
            continue
        position = event.fact.position
        against += _strikeable(unstruck.get(position), position, past, actor, place)
        if position in named:
            against.append(
                Reason(Code.CONTRADICTION, "struck twice in this batch", "/data/position", place)
            )
        elif (struck := unstruck.get(position)) is not None:
            if rest := _rest_of(struck, state) - strikes:
                others = ", ".join(map(str, sorted(rest)))
                detail = f"it came as one with events {others}; strike them in the same batch"
                against.append(Reason(Code.STRIKE_BREAKS, detail, "/data/position", place))
            named[position] = gates.Strike(place, event, event.fact, struck)
    if against:
        return Refusal(tuple(against))
    retold = _retold_without(past, strikes)
    if retold.set_aside:
        place = named[min(strikes)].place
        against = [_resting(event, reasons, place, actor) for event, reasons in retold.set_aside]
    else:
        listed = list(named.values())
        against = list(gates.strikes_against(state, retold.state, listed, past.events, actor))
    return Refusal(tuple(against)) if against else retold.state


def _resting(event: Event, reasons: Sequence[Reason], place: int, actor: Actor | None) -> Reason:
    """That an event cannot stand without what is struck at a place of the batch.

    Whoever may not read the event is not told the reason, which quotes what it says.
    """
    type_ = event.fact.TYPE
    if actor is not None and money_hidden_from(actor.role, type_):
        detail = (
            f"event {event.position} ({type_}) rests on it; ask who may record that to strike "
            "both, in one batch"
        )
    else:
        remedy = "strike that too, in the same batch"
        if may_not_strike(event, actor, place):
            remedy = f"first have it struck by {_whoever_may_record(event.fact)}"
        detail = (
            f"event {event.position} ({type_}, {event.subject}) rests on it: {reasons[0].detail}; "
            f"{remedy}"
        )
    return Reason(Code.STRIKE_BREAKS, detail, "/data/position", place)


def _whoever_may_record(fact: Fact) -> str:
    """The roles that may record a fact, in words; of desks the one whose it is."""
    department = getattr(fact, "department", None)
    return " or ".join(
        f"the desk of {department}" if role is Role.DESK and department else f"the {role}"
        for role in sorted(fact.ROLES)
    )


def _retold_without(past: Past, strikes: set[int]) -> Retold:
    """The log without the struck events; what this release refuses anyhow stands as it did.

    A rule may be stricter than the one by which an event was accepted. Such an event is no reason
    against a strike, unless the strike gives the rules something more to say against it.
    """
    rest = [event for event in past.events if event.position not in strikes]
    retold = retell(past.state, rest)
    if not retold.set_aside:
        return retold
    draft, stricter = Draft(past.state), {}
    for event in past.events:
        if not isinstance(event.fact, EventStruck):
            stricter[event.position] = frozenset(reasons_against(draft, event))
            apply(draft, event)
    return retell(past.state, rest, stricter)


def _rest_of(event: Event, state: State) -> set[int]:
    """Positions of an approval and its facts, if an event is one of them."""
    fact = event.fact
    code = fact.order if isinstance(fact, ChangeOrderApproved) else event.cause
    order = state.orders.get(code) if code else None
    if order is None or order.standing != APPROVED:
        return set()
    return {order.steps[-1].position, *positions_behind(order)}


def _strikeable(
    event: Event | None, position: int, past: Past, actor: Actor | None, place: int
) -> list[Reason]:
    if event is None:
        is_struck = position in past.struck
        detail = "is struck already" if is_struck else "is not in the log"
        code = Code.CONTRADICTION if is_struck else Code.UNKNOWN
        return [Reason(code, f"event {position} {detail}", "/data/position", place)]
    if isinstance(event.fact, EventStruck):
        return [
            Reason(
                Code.CONTRADICTION,
                "a strike cannot be struck; record the fact again",
                "/data/position",
                place,
            )
        ]
    return may_not_strike(event, actor, place)


def may_not_strike(event: Event, actor: Actor | None, place: int) -> list[Reason]:
    """Why an actor may not strike an event, by itself: who may record it may strike it.

    `place` is that of the strike in its batch.
    """
    return [
        Reason(
            Code.FORBIDDEN,
            f"only who may record event {event.position} may strike it: {reason.detail}",
            "/data/position",
            place,
        )
        for reason in permitted(event, actor)
    ]


def retell(
    state: State,
    events: Sequence[Event],
    accepted: Mapping[int, frozenset[Reason]] = MappingProxyType({}),
) -> Retold:
    """Decide events again, in order of position; what is refused now is set aside with reasons.

    By position, `accepted` has reasons for which an event is not set aside.
    """
    draft = Draft(state)
    set_aside = []
    for event in events:
        if isinstance(event.fact, EventStruck):
            apply(draft, event)
            continue
        against = reasons_against(draft, event)
        if not accepted.get(event.position, frozenset()).issuperset(against):
            set_aside.append((event, tuple(against)))
        else:
            apply(draft, event)
    return Retold(draft.finish(), tuple(set_aside))
