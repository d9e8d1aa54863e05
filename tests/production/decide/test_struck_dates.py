"""Strikes by which a hard date moves, comes back or goes: who may, and what they say."""

from datetime import date
from typing import Any

import pytest

from service.production.decide import Accepted, Past, decide, retell
from service.production.folding import fold
from service.production.permission import Actor
from service.production.refusal import Code, Refusal
from service.production.state import EMPTY, Gate
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from tests.telling import OFFICE, PRODUCER, SUPERVISOR, Story, studio

EPISODE = "KESTREL-1"
HARD = {"gate": "delivery", "due_on": "2031-04-15", "hard": True}
LATER_AND_SOFT = {"gate": "delivery", "due_on": "2031-05-20", "hard": False, "reason": "Agreed."}
THE_OFFICE = Actor("tests", Role.OFFICE)  # the token that a story's events are posted with


def hard_story() -> Story:
    story = studio()
    story.tell("gate.set", EPISODE, HARD)
    return story


def strike_of(story: Story, position: int, reason: str | None = None, place: int = 0) -> Event:
    data: dict[str, Any] = {"position": position, "why": "A mistake."}
    if reason is not None:
        data["reason"] = reason
    return story.event("event.struck", "studio", data, position=len(story.events) + 1 + place)


def against(story: Story, *events: Event, actor: Actor) -> set[tuple[Code, str]]:
    decided = story.propose(*events, actor=actor)
    assert isinstance(decided, Refusal), "it was accepted"
    return {(reason.code, reason.member) for reason in decided.reasons}


def gate_of(story: Story) -> Gate | None:
    return story.state.episodes[EPISODE].gate("delivery")


def softened() -> tuple[Story, int]:
    """A hard date, moved and made soft by the producer; the position of that."""
    story = hard_story()
    story.record(story.event("gate.set", EPISODE, LATER_AND_SOFT), actor=PRODUCER)
    return story, len(story.events)


@pytest.mark.parametrize("actor", [OFFICE, SUPERVISOR])
@pytest.mark.parametrize("reason", [None, "Asked for."])
def test_a_hard_date_does_not_come_back_by_a_strike_of_anybodys(
    actor: Actor, reason: str | None
) -> None:
    story, position = softened()
    strike = strike_of(story, position, reason)
    assert against(story, strike, actor=actor) == {(Code.FORBIDDEN, "/data/position")}


@pytest.mark.parametrize("actor", [OFFICE, SUPERVISOR])
def test_nor_does_one_go_that_stands_on_an_event_which_did_not_say_hard(actor: Actor) -> None:
    story = hard_story()
    moved = {"gate": "delivery", "due_on": "2031-05-20", "reason": "Agreed."}
    story.record(story.event("gate.set", EPISODE, moved), actor=PRODUCER)
    assert gate_of(story) == Gate(date(2031, 5, 20), True)
    strike = strike_of(story, len(story.events), "Asked for.")
    assert against(story, strike, actor=actor) == {(Code.FORBIDDEN, "/data/position")}


def test_the_producer_strikes_it_and_says_why_for_all_to_read() -> None:
    story, position = softened()
    silent = strike_of(story, position)
    assert against(story, silent, actor=PRODUCER) == {(Code.CONTRADICTION, "/data/reason")}
    strike = strike_of(story, position, "May was not agreed after all")
    story.record(strike, actor=PRODUCER)
    gate = gate_of(story)
    assert gate is not None
    assert (gate.due_on.isoformat(), gate.hard) == ("2031-04-15", True)
    assert story.marks(strike) == ("hard-date-moved",)


def test_the_mark_stays_when_the_log_is_folded_or_decided_again() -> None:
    story, position = softened()
    strike = strike_of(story, position, "May was not agreed after all")
    story.record(strike, actor=PRODUCER)
    first = story.tell("priority.set", f"{EPISODE}/1", {"priority": 3})
    story.record(strike_of(story, first.position), actor=SUPERVISOR)
    assert story.marks(strike) == ("hard-date-moved",)
    assert fold(EMPTY, story.unstruck()).marks[strike.position] == ("hard-date-moved",)
    assert retell(EMPTY, story.unstruck()).state.marks[strike.position] == ("hard-date-moved",)


def test_a_strike_that_moves_no_hard_date_has_no_such_reason_and_no_mark() -> None:
    story = hard_story()
    soft = story.tell("gate.set", EPISODE, {"gate": "lock", "due_on": "2031-04-01"})
    same = story.tell("gate.set", EPISODE, HARD)  # the same again moves nothing
    for position in (soft.position, same.position):
        reasons = against(story, strike_of(story, position, "So."), actor=OFFICE)
        assert reasons == {(Code.CONTRADICTION, "/data/reason")}
        strike = strike_of(story, position)
        story.record(strike, actor=SUPERVISOR)
        assert story.marks(strike) == ()


def test_of_several_strikes_each_that_moves_a_hard_date_says_why() -> None:
    story = hard_story()
    moved = {"gate": "delivery", "due_on": "2031-05-20", "reason": "Agreed."}  # hard still
    story.record(story.event("gate.set", EPISODE, moved), actor=PRODUCER)
    last = len(story.events)
    batch = [strike_of(story, last - 1, "Both"), strike_of(story, last, place=1)]
    assert against(story, *batch, actor=PRODUCER) == {(Code.CONTRADICTION, "/data/reason")}
    batch[1] = strike_of(story, last, "Both", place=1)
    story.record(*batch, actor=PRODUCER)
    assert [story.marks(strike) for strike in batch] == [("hard-date-moved",)] * 2
    assert gate_of(story) == Gate(date(2031, 4, 15), False)


def test_whoever_made_a_date_hard_strikes_a_slip_of_theirs_within_the_hour() -> None:
    story = hard_story()
    slip = story.event("gate.set", EPISODE, HARD | {"gate": "air"}, role="office")
    story.record(slip, actor=THE_OFFICE)
    strike = strike_of(story, slip.position, "A slip of the pen")
    for other in (SUPERVISOR, OFFICE, Actor("tests", Role.SUPERVISOR)):
        assert against(story, strike, actor=other) == {(Code.FORBIDDEN, "/data/position")}
    anew = story.event(
        "gate.set", EPISODE, HARD | {"gate": "air", "due_on": "2031-04-25"},
        position=len(story.events) + 2,
    )  # fmt: skip
    story.record(strike, anew, actor=THE_OFFICE)
    assert story.marks(strike) == ("hard-date-moved",)
    gate = story.state.episodes[EPISODE].gate("air")
    assert gate is not None
    assert (gate.due_on.isoformat(), gate.hard) == ("2031-04-25", True)


@pytest.mark.parametrize(
    ("now", "accepted"),
    [("2031-03-03T09:00:00Z", True), ("2031-03-03T09:00:01Z", False)],
)
def test_an_hour_after_it_was_recorded_it_is_the_producers(now: str, accepted: bool) -> None:
    story = hard_story()
    slip = story.event("gate.set", EPISODE, HARD | {"gate": "air"}, role="office")
    story.record(slip, actor=THE_OFFICE)
    story.now = now
    strike = strike_of(story, slip.position, "A slip of the pen")
    decided = story.propose(strike, actor=THE_OFFICE)
    assert isinstance(decided, Accepted if accepted else Refusal)


def test_a_slip_that_another_date_was_set_over_is_the_producers() -> None:
    story = hard_story()
    slip = story.event("gate.set", EPISODE, HARD | {"gate": "air"}, role="office")
    story.record(slip, actor=THE_OFFICE)
    over = {"gate": "air", "due_on": "2031-05-20", "reason": "Agreed."}  # hard still
    story.record(story.event("gate.set", EPISODE, over), actor=PRODUCER)
    strike = strike_of(story, slip.position, "A slip of the pen")
    assert against(story, strike, actor=THE_OFFICE) == {(Code.FORBIDDEN, "/data/position")}


def test_whoever_asks_may_ask_of_any_strike_without_a_reason() -> None:
    story, position = softened()
    past = Past(EMPTY, tuple(story.unstruck()), story.struck)
    assert isinstance(decide(story.state, [strike_of(story, position)], None, past), Accepted)
