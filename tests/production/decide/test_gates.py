"""Dates that episodes must meet: which are odd, and who moves a hard one."""

import pytest

from service.production.decide import Accepted, Past, decide
from service.production.refusal import Code, Refusal
from service.production.state import EMPTY
from service.vocabulary.facts.office import GATES
from tests.telling import OFFICE, PRODUCER, SUPERVISOR, Story, studio

EPISODE = "KESTREL-1"
HARD = {"gate": "delivery", "due_on": "2031-04-15", "hard": True}
MOVED = HARD | {"due_on": "2031-05-20"}


def story_at(now: str = "2031-03-04T12:00:00Z") -> Story:
    story = studio()
    story.tell("gate.set", EPISODE, HARD)  # the date that the told studio has, made a hard one
    story.now = now
    return story


@pytest.mark.parametrize("actor", [OFFICE, SUPERVISOR])
@pytest.mark.parametrize("data", [MOVED, HARD | {"hard": False}, MOVED | {"reason": "Asked."}])
def test_a_hard_date_is_moved_by_no_office_and_no_supervisor(
    actor: object, data: dict[str, object]
) -> None:
    story = story_at()
    (reason,) = story.refused("gate.set", EPISODE, data, actor=actor)  # type: ignore[arg-type]
    assert (reason.code, reason.member) == (Code.FORBIDDEN, "/data/due_on")


def test_the_producer_moves_it_and_says_why() -> None:
    story = story_at()
    (reason,) = story.refused("gate.set", EPISODE, MOVED, actor=PRODUCER)
    assert (reason.code, reason.member) == (Code.CONTRADICTION, "/data/reason")
    event = story.event("gate.set", EPISODE, MOVED | {"reason": "A slot in May was agreed."})
    story.record(event, actor=PRODUCER)
    assert story.marks(event) == ("hard-date-moved",)
    gate = story.state.episodes[EPISODE].gate("delivery")
    assert gate is not None
    assert (gate.due_on.isoformat(), gate.hard) == ("2031-05-20", True)


def test_whoever_asks_may_ask_what_another_hard_date_would_mean() -> None:
    story = story_at()
    moved = story.event("gate.set", EPISODE, MOVED)
    assert isinstance(decide(story.state, [moved], None), Accepted)
    strike = story.event("event.struck", "studio", {"position": len(story.events), "why": "No."})
    past = Past(EMPTY, tuple(story.events), frozenset())
    assert isinstance(decide(story.state, [strike], None, past), Accepted)


def test_the_same_again_and_soft_dates_are_anybodys() -> None:
    story = story_at()
    story.record(story.event("gate.set", EPISODE, HARD), actor=OFFICE)
    for due_on in ("2031-04-01", "2031-04-02"):
        soft = story.event("gate.set", EPISODE, {"gate": "lock", "due_on": due_on})
        story.record(soft, actor=SUPERVISOR)
        assert story.marks(soft) == ()


def test_an_approved_change_order_moves_it() -> None:
    story = story_at()
    rates = dict.fromkeys(story.state.units, "1")
    story.tell("rate.set", "KESTREL", {"currency": "EUR", "from_on": "2031-01-01", "rates": rates})
    order = {"order": "CO-1", "asked_by": "client", "words": "Later.", "lines": []}
    story.tell("change-order.raised", EPISODE, order)
    price = {"order": "CO-1", "position": len(story.events), "currency": "EUR", "total": "0.00"}
    story.tell("change-order.priced", EPISODE, price | {"lines": []})
    gates = [{"episode": EPISODE, "gate": "delivery", "due_on": "2031-05-20"}]
    approved = story.event("change-order.approved", EPISODE, {"order": "CO-1", "gates": gates})
    story.record(approved, actor=PRODUCER)
    moved = story.events[-1]
    assert (moved.fact.TYPE, moved.cause) == ("gate.set", "CO-1")
    assert story.marks(moved) == ("hard-date-moved",)


@pytest.mark.parametrize(("actor", "accepted"), [(OFFICE, False), (PRODUCER, True)])
def test_a_hard_date_is_struck_by_the_producer_alone(actor: object, accepted: bool) -> None:
    story = story_at()
    position = story.events[-1].position
    strike = story.event("event.struck", "studio", {"position": position, "why": "Wrong."})
    decided = story.propose(strike, actor=actor)  # type: ignore[arg-type]
    assert isinstance(decided, Accepted if accepted else Refusal)


@pytest.mark.parametrize(
    ("gate", "due_on", "marks"),
    [
        ("lock", "2031-04-15", ()),  # on the very day of the delivery
        ("lock", "2031-04-16", ("gates-out-of-order",)),
        ("air", "2031-04-14", ("gates-out-of-order",)),
        ("air", "2031-04-15", ()),
        ("rough-cut", "2031-03-03", ("date-past",)),
        ("rough-cut", "2031-03-04", ()),  # today
        ("air", "2031-03-03", ("date-past", "gates-out-of-order")),
    ],
)
def test_dates_that_contradict_each_other_or_are_over_are_flagged(
    gate: str, due_on: str, marks: tuple[str, ...]
) -> None:
    story = story_at()
    assert story.marks(story.tell("gate.set", EPISODE, {"gate": gate, "due_on": due_on})) == marks


@pytest.mark.parametrize("order", [GATES[:3], ("rough-cut", "retake-cut-off", "lock")])
def test_the_lock_may_come_before_the_cut_off_of_retakes_or_behind_it(
    order: tuple[str, ...],
) -> None:
    story = studio(episodes=("KESTREL-1",))
    for day, gate in enumerate(order, 1):
        event = story.tell("gate.set", EPISODE, {"gate": gate, "due_on": f"2031-04-{day:02d}"})
        assert story.marks(event) == ()


BACKDATED = "2031-03-04T12:00:00Z"


def test_a_date_that_was_over_when_it_was_said_is_flagged_though_the_fact_is_dated_back() -> None:
    story = story_at("2031-06-01T12:00:00Z")
    due = {"gate": "rough-cut", "due_on": "2031-05-01"}
    assert "date-past" in story.marks(story.tell("gate.set", EPISODE, due, BACKDATED))
    today = {"gate": "rough-cut", "due_on": "2031-06-01"}
    assert "date-past" not in story.marks(story.tell("gate.set", EPISODE, today, BACKDATED))


def test_so_are_an_answers_date_and_a_prices_validity() -> None:
    story = story_at("2031-06-01T12:00:00Z")
    owed = {"owes": "client", "by_on": "2031-05-01"}
    held = story.tell("scene.held", "KESTREL-1/1", owed, BACKDATED)
    assert story.marks(held) == ("date-past",)
    rates = dict.fromkeys(story.state.units, "1")
    story.tell("rate.set", "KESTREL", {"currency": "EUR", "from_on": "2031-01-01", "rates": rates})
    order = {"order": "CO-1", "asked_by": "client", "words": "Later.", "lines": []}
    story.tell("change-order.raised", EPISODE, order, BACKDATED)
    price = {"order": "CO-1", "position": len(story.events), "currency": "EUR", "total": "0.00"}
    valid = {"lines": [], "valid_until": "2031-05-01"}
    priced = story.tell("change-order.priced", EPISODE, price | valid, BACKDATED)
    assert story.marks(priced) == ("date-past",)


def test_today_is_the_studios() -> None:
    # half past eleven at night in Lisbon is the next day in Kiritimati, and the same in Lisbon
    story = story_at("2031-07-03T22:30:00Z")
    held = story.tell("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": "2031-07-03"})
    assert story.marks(held) == ()
    story.now = "2031-07-03T23:30:00Z"  # summer time: half past midnight
    held = story.tell("scene.held", "KESTREL-1/2", {"owes": "client", "by_on": "2031-07-03"})
    assert story.marks(held) == ("date-past",)
