"""Dates that episodes must meet: which are odd, and who moves a hard one."""

from datetime import date

import pytest

from service.production.decide import Accepted, Past, decide, retell
from service.production.permission import Actor
from service.production.refusal import Code, Refusal
from service.production.state import EMPTY, Gate
from service.vocabulary.facts.routes import GATES
from tests.telling import OFFICE, PRODUCER, SUPERVISOR, Story, studio

EPISODE = "KESTREL-1"
HARD = {"gate": "delivery", "due_on": "2031-04-15", "hard": True}
MOVED = HARD | {"due_on": "2031-05-20"}


def story_at(now: str = "2031-03-04T12:00:00Z") -> Story:
    story = studio()
    story.tell("gate.set", EPISODE, HARD)  # the date that the small studio has, made a hard one
    story.now = now
    return story


@pytest.mark.parametrize("actor", [OFFICE, SUPERVISOR])
@pytest.mark.parametrize("data", [MOVED, HARD | {"hard": False}, MOVED | {"reason": "Asked."}])
def test_a_hard_date_is_moved_by_no_office_and_no_supervisor(
    actor: Actor, data: dict[str, object]
) -> None:
    story = story_at()
    (reason,) = story.refused("gate.set", EPISODE, data, actor=actor)
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
        assert story.marks(soft) == ("gate-of-nobody",)


def ordered(story: Story) -> None:
    """A change order without lines is raised and priced."""
    rates = dict.fromkeys(story.state.units, "1")
    story.tell("rate.set", "KESTREL", {"currency": "EUR", "from_on": "2031-01-01", "rates": rates})
    order = {"order": "CO-1", "asked_by": "client", "words": "Later.", "lines": []}
    story.tell("change-order.raised", EPISODE, order)
    price = {"order": "CO-1", "position": len(story.events), "currency": "EUR", "total": "0.00"}
    story.tell("change-order.priced", EPISODE, price | {"lines": []})


def test_an_approved_change_order_moves_it() -> None:
    story = story_at()
    ordered(story)
    gates = [{"episode": EPISODE, "gate": "delivery", "due_on": "2031-05-20"}]
    approved = story.event("change-order.approved", EPISODE, {"order": "CO-1", "gates": gates})
    story.record(approved, actor=PRODUCER)
    moved = story.events[-1]
    assert (moved.fact.TYPE, moved.cause) == ("gate.set", "CO-1")
    assert story.marks(moved) == ("hard-date-moved",)


def test_a_gate_set_without_hard_stays_as_hard_as_it_was() -> None:
    story = story_at()
    moved = {"gate": "delivery", "due_on": "2031-05-20", "reason": "A slot in May was agreed."}
    story.record(story.event("gate.set", EPISODE, moved), actor=PRODUCER)
    gate = story.state.episodes[EPISODE].gate("delivery")
    assert gate is not None
    assert (gate.due_on.isoformat(), gate.hard) == ("2031-05-20", True)
    again = {"gate": "delivery", "due_on": "2031-05-21"}
    assert story.codes("gate.set", EPISODE, again, actor=SUPERVISOR) == {Code.FORBIDDEN}
    # the same date, set again without the word "hard", moves nothing
    same = story.event("gate.set", EPISODE, {"gate": "delivery", "due_on": "2031-05-20"})
    story.record(same, actor=SUPERVISOR)
    assert story.marks(same) == ()
    soft = story.event("gate.set", EPISODE, moved | {"hard": False})
    story.record(soft, actor=PRODUCER)
    assert story.marks(soft) == ("hard-date-moved",)
    story.record(story.event("gate.set", EPISODE, again), actor=SUPERVISOR)
    assert story.state.episodes[EPISODE].gate("delivery") == Gate(date(2031, 5, 21), False)


def test_a_gate_that_is_new_is_soft_unless_it_is_set_hard() -> None:
    story = story_at()
    story.tell("gate.set", EPISODE, {"gate": "air", "due_on": "2031-05-20"})
    assert story.state.episodes[EPISODE].gate("air") == Gate(date(2031, 5, 20), False)


def delivered() -> Story:
    story = story_at()
    story.tell("episode.delivered", EPISODE)
    return story


@pytest.mark.parametrize("gate", ["rough-cut", "lock", "retake-cut-off", "delivery"])
def test_no_date_of_a_delivered_episode_is_set(gate: str) -> None:
    story = delivered()
    data = {"gate": gate, "due_on": "2031-05-20", "reason": "Agreed."}
    (reason,) = story.refused("gate.set", EPISODE, data, actor=PRODUCER)
    assert (reason.code, reason.member) == (Code.CONTRADICTION, "/subject")
    decided = decide(story.state, [story.event("gate.set", EPISODE, data)], None)
    assert isinstance(decided, Refusal)
    story.tell("gate.set", "KESTREL-2", {"gate": gate, "due_on": "2031-05-20"})


def test_the_air_date_lies_behind_the_delivery_and_may_be_set_still() -> None:
    story = delivered()
    story.tell("gate.set", EPISODE, {"gate": "air", "due_on": "2031-05-20"})


def test_an_approval_moves_no_date_of_a_delivered_episode() -> None:
    story = delivered()
    ordered(story)
    gates = [
        {"episode": "KESTREL-2", "gate": "delivery", "due_on": "2031-05-20"},
        {"episode": EPISODE, "gate": "delivery", "due_on": "2031-05-20"},
    ]
    data = {"order": "CO-1", "gates": gates}
    (reason,) = story.refused("change-order.approved", EPISODE, data, actor=PRODUCER)
    assert (reason.code, reason.member) == (Code.CONTRADICTION, "/data/gates/1/episode")


def test_a_date_that_was_forgotten_is_set_in_one_batch_with_the_delivery_anew() -> None:
    story = delivered()
    last = len(story.events)
    lock = {"gate": "lock", "due_on": "2031-04-01"}
    story.record(
        story.event("event.struck", "studio", {"position": last, "why": "A date was forgotten."}),
        story.event("gate.set", EPISODE, lock, position=last + 2),
        story.event("episode.delivered", EPISODE, position=last + 3),
        actor=SUPERVISOR,
    )
    assert story.state.episodes[EPISODE].delivered_us >= 0
    assert story.state.episodes[EPISODE].gate("lock") == Gate(date(2031, 4, 1), False)


def test_dates_that_were_set_so_in_older_records_stand_when_told_again() -> None:
    story = delivered()
    older = story.event("gate.set", EPISODE, {"gate": "lock", "due_on": "2031-04-01"})
    log = [*story.events, older]
    retold = retell(EMPTY, log)
    assert retold.set_aside == ()
    strike = story.event(
        "event.struck", "studio", {"position": 5, "why": "A mistake."}, position=len(log) + 1
    )
    past = Past(EMPTY, tuple(log), frozenset())
    decided = decide(retold.state, [strike], OFFICE, past)
    assert isinstance(decided, Accepted)
    assert decided.state.episodes[EPISODE].gate("lock") == Gate(date(2031, 4, 1), False)


@pytest.mark.parametrize(
    ("gate", "due_on", "marks"),
    [
        # no department of this route meets a lock or an air date
        ("lock", "2031-04-15", ("gate-of-nobody",)),  # on the very day of the delivery
        ("lock", "2031-04-16", ("gate-of-nobody", "gates-out-of-order")),
        ("air", "2031-04-14", ("gate-of-nobody", "gates-out-of-order")),
        ("air", "2031-04-15", ("gate-of-nobody",)),
        ("retake-cut-off", "2031-04-14", ()),
        ("rough-cut", "2031-03-03", ("date-past",)),
        ("rough-cut", "2031-03-04", ()),  # today
        ("air", "2031-03-03", ("date-past", "gate-of-nobody", "gates-out-of-order")),
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
        assert "gates-out-of-order" not in story.marks(event)


BACKDATED = "2031-03-04T12:00:00Z"


def test_a_date_that_was_over_when_it_was_set_is_flagged_though_the_fact_is_dated_back() -> None:
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
