"""Batches, the clock, and striking: what a decision as a whole is."""

from collections.abc import Iterator

import pytest
from msgspec.structs import replace

from service.production.decide import (
    CLOCK_SKEW_US,
    Accepted,
    Past,
    decide,
    reasons_against,
    retell,
)
from service.production.folding import fold
from service.production.nouns import RULES, joins
from service.production.permission import Actor
from service.production.refusal import Code, Reason, Refusal
from service.production.state import EMPTY, Draft
from service.production.takes import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.office import HookUpDeclared
from tests.telling import OFFICE, SUPERVISOR, Story, studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"
LAYOUT = {"department": "layout"}


# the clock


def test_what_has_not_happened_is_not_recorded() -> None:
    story = studio()
    event = story.event("scene.omitted", SCENE, {}, NINE)
    skewed = replace(event, time_us=event.recorded_us + CLOCK_SKEW_US)
    assert isinstance(story.propose(skewed), Accepted)
    ahead = story.propose(replace(event, time_us=event.recorded_us + CLOCK_SKEW_US + 1))
    assert isinstance(ahead, Refusal)
    assert [(reason.code, reason.member) for reason in ahead.reasons] == [(Code.IN_FUTURE, "/time")]


def test_no_instant_lies_before_1970() -> None:
    story = studio()
    decided = story.propose(story.event("scene.omitted", SCENE, {}, "1969-12-31T23:59:59Z"))
    assert isinstance(decided, Refusal)
    assert [(reason.code, reason.member) for reason in decided.reasons] == [
        (Code.TIME_ORDER, "/time")
    ]


def test_the_clock_and_the_record_speak_at_once() -> None:
    story = studio()
    event = story.event("scene.omitted", "KESTREL-9/1", {}, NINE)
    decided = story.propose(replace(event, recorded_us=0))
    assert isinstance(decided, Refusal)
    assert {reason.code for reason in decided.reasons} == {Code.IN_FUTURE, Code.UNKNOWN}


# batches


def test_a_batch_lands_whole_or_not_at_all_with_every_reason() -> None:
    story = studio()
    place = len(story.events) + 1
    events = [
        story.event("work.started", SCENE, LAYOUT, NINE, place),
        story.event("work.started", "KESTREL-9/1", LAYOUT, NINE, place + 1),
        story.event("scene.freed", SCENE, {}, NINE, place + 2),
    ]
    decided = story.propose(*events)
    assert isinstance(decided, Refusal)
    assert [(reason.place, reason.code) for reason in decided.reasons] == [
        (1, Code.UNKNOWN),
        (2, Code.CONTRADICTION),
    ]
    assert story.take(SCENE, "layout").phase is Phase.WAITING


def test_a_fact_may_rest_on_one_before_it_in_the_batch() -> None:
    story = studio()
    place = len(story.events) + 1
    listed = story.event("element.listed", "KESTREL:hall", {"kind": "background"}, NINE, place)
    used = story.event("element.used", "KESTREL:hall", {"scenes": [SCENE]}, NINE, place + 1)
    decided = story.propose(listed, used, actor=OFFICE)
    assert isinstance(decided, Accepted)
    assert decided.state.scenes[SCENE].elements == ("KESTREL:hall",)


@pytest.mark.parametrize("subject", ["studio", "KESTREL", "KESTREL-1", "KESTREL:hall", "nothing"])
def test_a_fact_has_a_subject_of_the_form_its_type_takes(subject: str) -> None:
    story = studio()
    decided = story.propose(story.event("scene.omitted", subject, {}, NINE))
    assert isinstance(decided, Refusal)
    assert [(reason.code, reason.member) for reason in decided.reasons] == [
        (Code.UNKNOWN, "/subject")
    ]


# striking


def struck(story: Story, *events: Event, actor: Actor = SUPERVISOR) -> Accepted | Refusal:
    place = len(story.events) + 1
    strikes = [
        story.event(
            "event.struck",
            "studio",
            {"position": event.position, "why": "Wrong."},
            NOON,
            place + number,
        )
        for number, event in enumerate(events)
    ]
    return story.propose(*strikes, actor=actor)


def strike(story: Story, *events: Event, actor: Actor = SUPERVISOR) -> None:
    place = len(story.events) + 1
    story.record(
        *(
            story.event(
                "event.struck",
                "studio",
                {"position": event.position, "why": "Wrong."},
                NOON,
                place + number,
            )
            for number, event in enumerate(events)
        ),
        actor=actor,
    )


def test_a_struck_event_no_longer_counts() -> None:
    story = studio()
    before = story.state
    event = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    strike(story, event)
    assert story.state == before
    assert story.struck == {event.position}
    story.tell("work.started", SCENE, LAYOUT, at=TEN)


def test_striking_a_call_undoes_its_reach_and_keeps_what_followed() -> None:
    story = studio()
    story.desk(SCENE, "layout", "animation", start=NINE, end=TEN)
    story.call("R1", SCENE, "layout", "character", at=ELEVEN)
    call = story.events[-1]
    story.tell("scene.held", "KESTREL-2/1", {"owes": "client", "by_on": "2031-03-20"}, at=NOON)
    strike(story, call)
    assert "R1" not in story.state.retakes
    assert story.take(SCENE, "animation").number == 1
    assert story.state.scenes["KESTREL-2/1"].hold is not None


def test_a_strike_that_breaks_a_later_fact_is_refused_and_names_it() -> None:
    story = studio()
    held = story.tell("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, at=NINE)
    freed = story.tell("scene.freed", SCENE, at=TEN)
    decided = struck(story, held)
    assert isinstance(decided, Refusal)
    assert [reason.code for reason in decided.reasons] == [Code.STRIKE_BREAKS]
    assert f"event {freed.position} (scene.freed, {SCENE})" in decided.reasons[0].detail


def test_every_fact_that_a_strike_breaks_is_named() -> None:
    story = studio()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    story.call("R1", SCENE, "layout", "character", at=ELEVEN)
    call = story.events[-1]
    started = story.tell("work.started", SCENE, LAYOUT, at=NOON)
    ended = story.tell("hand-off.made", SCENE, LAYOUT, at=NOON)
    decided = struck(story, call)
    assert isinstance(decided, Refusal)
    assert [
        f"event {event.position} " in reason.detail
        for event, reason in zip((started, ended), decided.reasons, strict=True)
    ] == [True, True]


def test_the_same_batch_may_strike_both_in_any_order() -> None:
    for turn in (1, -1):
        story = studio()
        before = story.state
        held = story.tell("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, at=NINE)
        freed = story.tell("scene.freed", SCENE, at=TEN)
        strike(story, *(held, freed)[::turn])
        assert story.state == before


def test_a_batch_may_strike_and_record_what_is_right_instead() -> None:
    story = studio()
    wrong = story.tell("work.started", SCENE, LAYOUT, at=TEN)
    place = len(story.events) + 1
    data = {"position": wrong.position, "why": "It was at nine."}
    story.record(
        story.event("event.struck", "studio", data, NOON, place),
        story.event("work.started", SCENE, LAYOUT, NINE, place + 1),
    )
    assert story.take(SCENE, "layout").started_us == story.events[-1].time_us


def test_a_strike_cannot_be_struck() -> None:
    story = studio()
    strike(story, story.tell("work.started", SCENE, LAYOUT, at=NINE))
    decided = struck(story, story.events[-1])
    assert isinstance(decided, Refusal)
    assert [reason.code for reason in decided.reasons] == [Code.CONTRADICTION]
    assert "record the fact again" in decided.reasons[0].detail


def test_nothing_is_struck_twice() -> None:
    story = studio()
    event = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    both = struck(story, event, event)
    assert isinstance(both, Refusal)
    assert [(reason.code, reason.place) for reason in both.reasons] == [(Code.CONTRADICTION, 1)]
    strike(story, event)
    again = struck(story, event)
    assert isinstance(again, Refusal)
    assert [reason.code for reason in again.reasons] == [Code.CONTRADICTION]


def test_what_is_not_in_the_log_cannot_be_struck() -> None:
    story = studio()
    decided = struck(story, replace(story.events[0], position=999))
    assert isinstance(decided, Refusal)
    assert [(reason.code, reason.member) for reason in decided.reasons] == [
        (Code.UNKNOWN, "/data/position")
    ]


PAINT = Actor("paint desk", Role.DESK, ("paint",))


@pytest.mark.parametrize(
    ("actor", "allowed"),
    [
        (PAINT, False),
        (OFFICE, False),
        (Actor("layout desk", Role.DESK, ("layout",)), True),
        (SUPERVISOR, True),
        (Actor("auditor", Role.AUDITOR), False),
    ],
)
def test_nobody_strikes_what_they_may_not_record(actor: Actor, allowed: bool) -> None:
    story = studio()
    decided = struck(story, story.tell("work.started", SCENE, LAYOUT, at=NINE), actor=actor)
    assert isinstance(decided, Accepted) is allowed
    if isinstance(decided, Refusal):
        assert {reason.code for reason in decided.reasons} == {Code.FORBIDDEN}


def test_a_strike_is_decided_against_the_past() -> None:
    story = studio()
    event = story.event("event.struck", "studio", {"position": 1, "why": "Wrong."}, NOON)
    with pytest.raises(ValueError, match="past"):
        decide(story.state, [event], OFFICE)


def test_the_past_need_only_reach_back_before_the_struck_event() -> None:
    story = studio()
    base, place = story.state, len(story.events)
    event = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    later = story.tell("work.started", "KESTREL-1/2", LAYOUT, at=NINE)
    data = {"position": event.position, "why": "Wrong."}
    past = Past(base, tuple(story.events[place:]), frozenset())
    decided = decide(
        story.state, [story.event("event.struck", "studio", data, NOON)], SUPERVISOR, past
    )
    assert isinstance(decided, Accepted)
    assert decided.state == fold(base, [later])


def test_whoever_may_not_strike_is_told_why() -> None:
    story = studio()
    event = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    past = Past(EMPTY, tuple(story.events), frozenset())
    strike = story.event("event.struck", "studio", {"position": event.position, "why": "No."}, NOON)
    decided = decide(story.state, [strike], Actor("paint desk", Role.DESK, ("paint",)), past)
    assert isinstance(decided, Refusal)
    (reason,) = decided.reasons
    assert reason.code is Code.FORBIDDEN
    assert "a desk records for its own departments (paint): not for layout" in reason.detail


# facts told again


def test_telling_again_sets_aside_what_the_rules_refuse() -> None:
    story = studio()
    held = story.tell("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, at=NINE)
    freed = story.tell("scene.freed", SCENE, at=TEN)
    other = story.tell("work.started", SCENE, LAYOUT, at=ELEVEN)
    retold = retell(EMPTY, [event for event in story.events if event is not held])
    ((set_aside, reasons),) = retold.set_aside
    assert set_aside is freed
    assert [reason.code for reason in reasons] == [Code.CONTRADICTION]
    assert retold.state.visits[SCENE]["layout"].current.started_us == other.time_us


def test_what_had_happened_by_then_is_retold_from_a_subset() -> None:
    """As we now know it was at ten: the facts not dated after it, in order of position."""
    story = studio()
    story.tell("hand-off.made", SCENE, LAYOUT, at=NOON)
    late = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    ten_us = late.time_us + 3_600_000_000
    retold = retell(EMPTY, [event for event in story.events if event.time_us <= ten_us])
    assert retold.set_aside == ()
    assert retold.state.visits[SCENE]["layout"].current.phase is Phase.ON_DESK


def test_a_strike_is_passed_over_when_facts_are_told_again() -> None:
    story = studio()
    strike(story, story.tell("work.started", SCENE, LAYOUT, at=NINE))
    assert retell(EMPTY, story.unstruck()).state == story.state


def test_reasons_never_change_the_draft() -> None:
    story = studio()
    draft = Draft(story.state)
    list(reasons_against(draft, story.event("scene.omitted", SCENE, {}, NINE)))
    assert draft.finish() == story.state


def test_a_rule_that_is_stricter_now_is_no_reason_against_a_strike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    story = studio()
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    story.tell("hook-up.declared", "KESTREL-1/2", {"to": "KESTREL-1/3"})
    noted = story.tell("scene.retimed", "KESTREL-1/1", {"frames": 90})
    story.tell("hook-up.declared", "KESTREL-2/1", {"to": "KESTREL-2/2"})
    listed = story.tell("scene.listed", "KESTREL-1/9", {"frames": 40})
    story.tell("hook-up.declared", "KESTREL-1/9", {"to": "KESTREL-1/1"})

    def refuses(draft: Draft, event: Event, fact: HookUpDeclared) -> Iterator[Reason]:
        yield Reason(Code.CONTRADICTION, "hook-ups are taken no more")
        yield from joins.check_hook_up_declared(draft, event, fact)

    monkeypatch.setitem(
        RULES, "hook-up.declared", RULES["hook-up.declared"]._replace(check=refuses)
    )
    before = story.state.hook_ups
    story.record(story.event("event.struck", "studio", {"position": noted.position, "why": "No."}))
    assert story.state.hook_ups == before, "what was accepted stands"
    assert story.state.scenes["KESTREL-1/1"].frames == 80
    # what rests on the struck event is still a reason
    strike = {"position": listed.position, "why": "No."}
    (reason,) = story.refused("event.struck", "studio", strike, actor=OFFICE)
    assert reason.code is Code.STRIKE_BREAKS
