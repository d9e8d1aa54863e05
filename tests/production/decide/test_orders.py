"""What may be recorded of change orders, and what approving one records."""

from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.production.decide import Accepted, retell
from service.production.orders import MOVES, count_of
from service.production.refusal import Code
from service.production.state import EMPTY
from tests.production.random_logs import LOGS, SEEDS, furnished, priced, tell_at_random
from tests.production.random_logs import OTHERS as WITH_ORDERS
from tests.properties import tried
from tests.telling import CREWS, PRODUCER, Story, studio

NINE, TEN = "2031-03-04T09:00:00Z", "2031-03-04T10:00:00Z"
OMIT = {"change": "omit", "scene": "KESTREL-1/2"}


def order(*lines: dict[str, Any], code: str = "CO-1") -> dict[str, Any]:
    return {"order": code, "asked_by": "client", "words": "Please.", "lines": list(lines)}


@pytest.fixture
def story() -> Story:
    story = studio()
    rates = {"currency": "EUR", "from_on": "2031-01-01", "rates": dict.fromkeys(CREWS, "10")}
    story.tell("rate.set", "KESTREL", rates)
    story.now = NINE
    return story


def price(story: Story, code: str = "CO-1", **more: Any) -> dict[str, Any]:
    at_us = story.event("scene.omitted", "KESTREL-1/1").time_us
    return priced(story, code, at_us)[2] | more


@pytest.fixture
def to_approve(story: Story) -> Story:
    added = {"change": "add", "scene": "KESTREL-1/9", "frames": 40}
    story.tell("change-order.raised", "KESTREL-1", order(OMIT, added))
    story.tell("change-order.priced", "KESTREL-1", price(story))
    return story


CALL = {
    "change": "retake",
    "items": ["KESTREL-1/1"],
    "back_to": "paint",
    "strands": ["character"],
    "share": 0.5,
}


@pytest.mark.parametrize(
    ("line", "code", "member"),
    [
        ({"change": "omit"}, Code.CONTRADICTION, "/scene"),
        ({"change": "retime", "scene": "KESTREL-1/1"}, Code.CONTRADICTION, "/frames"),
        ({**OMIT, "frames": 12}, Code.CONTRADICTION, "/frames"),
        ({"change": "fee", "amount": "1"}, Code.CONTRADICTION, "/what"),
        ({**OMIT, "scene": "KESTREL-1/77"}, Code.UNKNOWN, "/scene"),
        ({**OMIT, "scene": "HERON-1/1"}, Code.CONTRADICTION, ""),
        ({"change": "restore", "scene": "KESTREL-1/1"}, Code.CONTRADICTION, "/scene"),
        ({"change": "redesign", "element": "KESTREL:hall"}, Code.UNKNOWN, "/element"),
        (CALL, Code.CONTRADICTION, "/items/0"),
        ({**CALL, "back_to": "storyboard"}, Code.NOT_ON_ROUTE, "/back_to"),
        ({**CALL, "back_to": "layout", "drawings": 3}, Code.CONTRADICTION, "/share"),
        ({"change": "add", "scene": "KESTREL-1/1", "frames": 12}, Code.EXISTS, "/scene"),
        (
            {"change": "add", "scene": "KESTREL-1/8", "frames": 12, "elements": ["KESTREL:x"]},
            Code.UNKNOWN,
            "/elements/0",
        ),
    ],
)
def test_a_line_that_could_not_be_carried_out_is_refused_where_it_stands(
    story: Story, line: dict[str, Any], code: Code, member: str
) -> None:
    fee = {"change": "fee", "amount": "1", "what": "Courier"}
    reasons = story.refused("change-order.raised", "KESTREL-1", order(fee, line))
    assert (code, f"/data/lines/1{member}") in [(one.code, one.member) for one in reasons]


def test_lines_are_tried_one_after_the_other(story: Story) -> None:
    again = order(OMIT, OMIT)
    (reason,) = story.refused("change-order.raised", "KESTREL-1", again)
    assert reason.member == "/data/lines/1/scene"
    story.tell("change-order.raised", "KESTREL-1", order(OMIT, {**OMIT, "change": "restore"}))
    assert story.state.scenes["KESTREL-1/2"].omitted is False


def test_an_order_is_raised_once_on_what_is_in_the_record(story: Story) -> None:
    story.tell("change-order.raised", "KESTREL", order())
    assert story.codes("change-order.raised", "KESTREL", order()) == {Code.EXISTS}
    assert story.codes("change-order.raised", "KESTREL-9", order(code="CO-2")) == {Code.UNKNOWN}


@pytest.mark.parametrize("standing", list(MOVES))
def test_the_table_of_moves(story: Story, standing: str) -> None:
    story.tell("change-order.raised", "KESTREL-1", order())
    if standing in {"priced", "approved"}:
        story.tell("change-order.priced", "KESTREL-1", price(story))
    if not MOVES[standing]:
        story.tell(f"change-order.{standing}", "KESTREL-1", {"order": "CO-1"})
    for move in MOVES:
        if move == "raised":
            continue
        data = price(story) if move == "priced" else {"order": "CO-1"}
        decided = story.propose(story.event(f"change-order.{move}", "KESTREL-1", data))
        assert isinstance(decided, Accepted) == (move in MOVES[standing]), (standing, move, decided)


def test_a_fact_about_an_order_names_it_and_its_subject(story: Story) -> None:
    story.tell("change-order.raised", "KESTREL-1", order())
    unknown = {"order": "CO-7"}
    assert story.codes("change-order.declined", "KESTREL-1", unknown) == {Code.UNKNOWN}
    (reason,) = story.refused("change-order.declined", "KESTREL", {"order": "CO-1"})
    assert reason.member == "/subject"
    early = story.event(
        "change-order.declined", "KESTREL-1", {"order": "CO-1"}, at="2031-03-03T08:00:00Z"
    )
    decided = story.propose(early)
    assert not isinstance(decided, Accepted)
    assert [reason.code for reason in decided.reasons] == [Code.TIME_ORDER]


def test_a_price_says_what_is_quoted(story: Story) -> None:
    story.tell("change-order.raised", "KESTREL-1", order(OMIT))
    good = price(story)
    # layout, background, camera, 5 feet and 40 drawings at 10
    assert (good["total"], good["lines"]) == ("-480.00", [{"line": 1, "amount": "-480.00"}])
    wrong = good | {"total": "-470", "lines": [{"line": 1, "amount": "-470"}], "currency": "USD"}
    reasons = story.refused("change-order.priced", "KESTREL-1", wrong)
    assert [reason.member for reason in reasons] == [
        "/data/currency",
        "/data/lines/0/amount",
        "/data/total",
    ]
    assert "line 1 is quoted at -480.00, not -470" in reasons[1].detail
    for lines in ([], [{"line": 2, "amount": "1"}], good["lines"] * 2):
        reasons = story.refused("change-order.priced", "KESTREL-1", good | {"lines": lines})
        assert [reason.member for reason in reasons] == ["/data/lines"]
    ahead = good | {"position": len(story.events) + 1}
    (reason,) = story.refused("change-order.priced", "KESTREL-1", ahead)
    assert reason.member == "/data/position"
    story.tell("change-order.priced", "KESTREL-1", good)


def test_approving_records_facts_whatever_else_the_producer_may_record(to_approve: Story) -> None:
    # given an order to omit a scene and add one, when it is approved with a hard date that moves
    hard = {"gate": "delivery", "due_on": "2031-05-15", "hard": True}
    to_approve.tell("gate.set", "KESTREL-2", hard)
    moves = [{"episode": "KESTREL-2", "gate": "delivery", "due_on": "2031-06-16"}]
    data = {"order": "CO-1", "gates": moves}
    event = to_approve.event("change-order.approved", "KESTREL-1", data)
    to_approve.record(event, actor=PRODUCER)
    # then its facts stand right behind it, with its time and ids made of its own
    facts = to_approve.events[-3:]
    assert [(one.position, one.id, one.fact.TYPE, one.subject) for one in facts] == [
        (event.position + 1, f"{event.id}/1", "scene.omitted", "KESTREL-1/2"),
        (event.position + 2, f"{event.id}/2", "scene.listed", "KESTREL-1/9"),
        (event.position + 3, f"{event.id}/3", "gate.set", "KESTREL-2"),
    ]
    assert {(one.time_us, one.source, one.cause) for one in facts} == {
        (event.time_us, event.source, "CO-1")
    }
    state = to_approve.state
    assert state.scenes["KESTREL-1/2"].omitted
    gate = state.episodes["KESTREL-2"].gate("delivery")
    assert gate is not None
    assert (gate.due_on.isoformat(), gate.hard) == ("2031-06-16", True)
    assert state.orders["CO-1"].standing == "approved"
    # and the log tells the same without an approval being carried out again
    retold = retell(EMPTY, to_approve.events)
    assert retold.set_aside == ()
    assert retold.state == state


def test_a_price_that_no_longer_holds_must_be_meant(to_approve: Story) -> None:
    # given that layout of the omitted scene has started since, so that it is not credited
    to_approve.tell("work.started", "KESTREL-1/2", {"department": "layout"})
    to_approve.now = TEN
    data = {"order": "CO-1"}
    (reason,) = to_approve.refused("change-order.approved", "KESTREL-1", data)
    assert "line 1 was priced at -480.00 and is -470.00 now" in reason.detail
    to_approve.tell("change-order.approved", "KESTREL-1", data | {"position": price_at(to_approve)})


def price_at(story: Story) -> int:
    last_price = story.state.orders["CO-1"].price
    assert last_price is not None
    return last_price.position


def test_a_price_is_valid_until_its_date(story: Story) -> None:
    story.tell("change-order.raised", "KESTREL-1", order())
    story.tell("change-order.priced", "KESTREL-1", price(story, valid_until="2031-03-04"))
    data = {"order": "CO-1"}
    late = "2031-03-05T00:00:00Z"
    (reason,) = story.refused("change-order.approved", "KESTREL-1", data, at=late)
    assert "valid until 2031-03-04" in reason.detail
    story.tell("change-order.approved", "KESTREL-1", data, at="2031-03-04T23:59:00Z")


def test_an_approval_whose_facts_are_refused_now_is_refused(to_approve: Story) -> None:
    to_approve.tell("scene.omitted", "KESTREL-1/2")
    data = {"order": "CO-1", "position": price_at(to_approve)}
    (reason,) = to_approve.refused("change-order.approved", "KESTREL-1", data)
    assert reason.member == "/data/order"
    assert "line 1 (omit KESTREL-1/2) cannot be carried out" in reason.detail


def test_an_approval_names_episodes_of_its_show(to_approve: Story) -> None:
    moves = [{"episode": "KESTREL-9", "gate": "air", "due_on": "2031-06-16"}]
    data = {"order": "CO-1", "gates": moves}
    (reason,) = to_approve.refused("change-order.approved", "KESTREL-1", data)
    assert (reason.code, reason.member) == (Code.UNKNOWN, "/data/gates/0/episode")


def test_what_rests_on_an_approval_is_struck_with_it(to_approve: Story) -> None:
    to_approve.tell("change-order.approved", "KESTREL-1", {"order": "CO-1"})
    at = to_approve.state.orders["CO-1"].steps[-1].position
    started = to_approve.tell("work.started", "KESTREL-1/9", {"department": "layout"})
    why = "By mistake."
    strikes = [
        to_approve.event(
            "event.struck",
            "studio",
            {"position": position, "why": why},
            position=len(to_approve.events) + place,
        )
        for place, position in enumerate((at, at + 1, at + 2, started.position), 1)
    ]
    decided = to_approve.propose(*strikes[:3], actor=PRODUCER)
    assert not isinstance(decided, Accepted)
    assert f"event {started.position}" in decided.reasons[0].detail


@tried(40)
@given(LOGS, st.lists(SEEDS, max_size=10), SEEDS)
def test_approved_and_struck_leaves_the_state_as_it_was(
    log: list[int], orders: list[int], seed: int
) -> None:
    story = tell_at_random(furnished(), log)
    rates = {"currency": "EUR", "from_on": "2031-01-01", "rates": dict.fromkeys(CREWS, "10")}
    story.tell("rate.set", "KESTREL", rates)
    tell_at_random(story, orders, WITH_ORDERS[-1:])
    open_ones = [code for code, one in story.state.orders.items() if one.standing == "priced"]
    assume(open_ones)
    code = open_ones[seed % len(open_ones)]
    order = story.state.orders[code]
    assert order.price is not None
    before, count = story.state, count_of(order.lines, ())
    data = {"order": code, "position": order.price.position}
    event = story.event("change-order.approved", order.subject, data, at="2031-03-30T09:00:00Z")
    decided = story.propose(event, actor=PRODUCER)
    assume(isinstance(decided, Accepted))
    story.record(event, actor=PRODUCER)
    assert len(story.events) == event.position + count
    strikes = [
        story.event(
            "event.struck",
            "studio",
            {"position": event.position + place, "why": "By mistake."},
            at="2031-03-30T09:00:00Z",
            position=event.position + count + 1 + place,
        )
        for place in range(count + 1)
    ]
    for lacking in range(count + 1 if count else 0):
        part = [strike for place, strike in enumerate(strikes) if place != lacking]
        assert not isinstance(story.propose(*part, actor=PRODUCER), Accepted)
    story.record(*strikes, actor=PRODUCER)
    assert story.state == before, story.state.differences(before)


def test_a_line_is_judged_apart_from_those_before_that_are_refused(story: Story) -> None:
    for scene in ("KESTREL-1/1", "KESTREL-2/1"):
        story.desk(scene, "layout", "animation", start="2031-03-03T08:00:00Z", end=NINE)
    lent = {"source": "KESTREL-2/1", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/3", lent)
    retake = {"change": "retake", "back_to": "animation", "strands": ["character"], "share": 0.5}
    refused = {"items": ["KESTREL-1/1"], "dependents": [{"scene": "KESTREL-2/2", "mark": "leave"}]}
    fine = {"items": ["KESTREL-2/1"], "dependents": [{"scene": "KESTREL-2/3", "mark": "redo"}]}
    of_one = story.propose(story.event("change-order.raised", "KESTREL", order(retake | refused)))
    of_both = story.propose(
        story.event("change-order.raised", "KESTREL", order(retake | refused, retake | fine))
    )
    assert not isinstance(of_one, Accepted)
    assert of_both == of_one
    alone = story.event("change-order.raised", "KESTREL", order(retake | fine))
    assert isinstance(story.propose(alone), Accepted)
