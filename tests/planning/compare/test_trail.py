"""The date trail: what moved a delivery, by how much, and that it all adds up."""

from itertools import pairwise
from random import Random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import Board, make_board
from service.planning.compare import trail
from service.planning.compare.trail import EVENT, TIME, DateMove, begin, dates, pass_time
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.unmoved import stands_until
from service.production.state import EMPTY
from service.vocabulary.event import Event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.trails import (
    log_at_random,
    minutes_of,
    plan_from_nothing,
    state_at,
    walked,
)
from tests.production.random_logs import SEEDS
from tests.properties import tried
from tests.telling import Story, office

LOGS = st.lists(SEEDS, max_size=60)
EPISODE = "KESTREL-1"


def minute(text: str) -> int:
    return parse_instant(text) // US_PER_MIN


def tell(
    story: Story, at: str, type_: str, subject: str, data: dict[str, Any] | None = None
) -> Event:
    story.now = at
    return story.tell(type_, subject, data or {})


def one_episode(scenes: int = 1) -> Story:
    """One episode of one scene, recorded on Monday at eight; a desk in each department."""
    story = Story()
    for fact in office(scenes, (EPISODE,)):
        story.tell(*fact)
    return story


def moves_of(story: Story, until: str | None = None) -> list[DateMove]:
    moves, walk = walked(story.events)
    if until is not None:
        moves += pass_time(walk, minute(until))[0]
    return moves


# given an episode of one scene, open since Monday the 3rd at 8:00


def test_a_trail_begins_with_the_first_scene_listed() -> None:
    (first,) = moves_of(one_episode())
    assert (first.cause, first.type, first.subject) == (EVENT, "scene.listed", "KESTREL-1/1")
    assert (first.number, first.before_min, first.delta_min) == (1, None, None)
    assert first.at_min == minute("2031-03-03T08:00:00Z")
    # storyboard 2 days of 8 h (half an episode a day), layout 4 h, then the longer of background
    # and animation: 80 frames are 5 feet at 5 a day, 1 day; paint 40 drawings at 20 a day, 2 days;
    # camera 2 h; cutting and mix 1 day each: 16 + 4 + 8 + 16 + 2 + 8 + 8 = 62 h, 7 days and 6 h
    # from Monday 9:00 on, which is Wednesday the 12th, 15:00
    assert first.after_min == minute("2031-03-12T15:00:00Z")


def test_time_passing_names_the_visit_that_was_waited_for() -> None:
    story = one_episode()
    _, late = moves_of(story, until="2031-03-03T11:30:00Z")
    # nobody started the board at 9:00; 150 working minutes have passed
    assert (late.cause, late.delta_min) == (TIME, 150 + 16 * 60)
    assert (late.waited_for, late.department) == (EPISODE, "storyboard")
    assert late.after_min == minute("2031-03-13T09:30:00Z")
    assert late.position == len(story.events)


def test_outside_working_hours_nothing_is_lost() -> None:
    assert len(moves_of(one_episode(), until="2031-03-03T09:00:00Z")) == 1


def test_a_move_shows_its_event_with_what_that_is_about() -> None:
    story = one_episode()
    story.desk(EPISODE, "storyboard", start="2031-03-03T07:00:00Z", end="2031-03-03T08:00:00Z")
    tell(story, "2031-03-03T09:00:00Z", "work.started", "KESTREL-1/1", {"department": "layout"})
    tell(story, "2031-03-03T13:00:00Z", "hand-off.made", "KESTREL-1/1", {"department": "layout"})
    story.now = "2031-03-03T13:05:00Z"
    call = story.call_of("R1", "KESTREL-1/1", "layout", "background", "character", kind="revision")
    story.tell(*call)
    *_, called = moves_of(story)
    assert (called.type, called.retake, called.retake_kind) == ("retake.called", "R1", "revision")
    assert called.department == "layout"
    # from 13:05 on animation 8 h, paint 16 h, camera 2 h, cutting and mix 8 h each: Monday 15:05;
    # half of the layout, 2 h, stands before them again, and 17:05 is Tuesday 9:05
    assert called.after_min == minute("2031-03-11T09:05:00Z")
    assert called.delta_min == 120 + 16 * 60


def test_a_strike_is_a_row_of_its_own_and_undoes_what_was_moved() -> None:
    story = one_episode()
    before, _ = moves_of(story), story
    held = tell(story, "2031-03-03T08:00:00Z", "scene.held", "KESTREL-1/1",
                {"owes": "client", "by_on": "2031-03-20"})  # fmt: skip
    story.tell("event.struck", "studio", {"position": held.position, "why": "the other scene"})
    first, later, back = moves_of(story)
    assert [first] == before
    assert (later.type, back.type) == ("scene.held", "event.struck")
    assert later.delta_min is not None
    assert back.delta_min == -later.delta_min
    assert back.after_min == first.after_min


def test_a_struck_call_names_its_retake() -> None:
    story = one_episode()
    story.desk(EPISODE, "storyboard", start="2031-03-03T07:00:00Z", end="2031-03-03T08:00:00Z")
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T07:30:00Z", end="2031-03-03T08:00:00Z")
    tell(story, "2031-03-03T08:10:00Z",
         *story.call_of("R1", "KESTREL-1/1", "layout", "background", "character"))  # fmt: skip
    position = len(story.events)
    story.tell("event.struck", "studio", {"position": position, "why": "the other scene"})
    *_, called, struck = moves_of(story)
    assert (struck.type, struck.retake, struck.retake_kind) == ("event.struck", "R1", "correction")
    assert called.delta_min == -(struck.delta_min or 0) != 0


def test_a_date_projected_again_goes_on_from_the_last_one_that_was() -> None:
    story = Story()
    facts = office(1, (EPISODE,))
    mix = [fact for fact in facts if fact[2].get("department") == "mix"]
    for fact in facts:
        if fact not in mix:
            story.tell(*fact)
    (first,) = moves_of(story)
    assert (first.after_min, first.delta_min) == (None, None)
    story.tell(*mix[0])
    _, projected = moves_of(story)
    assert projected.after_min is not None
    assert projected.delta_min is None  # there was none before
    nobody = {**mix[0][2], "artists": 0, "from_on": "2031-01-02"}
    tell(story, "2031-03-03T08:02:00Z", "crew.set", "studio", nobody)
    somebody = {**mix[0][2], "from_on": "2031-01-03"}
    tell(story, "2031-03-03T10:00:00Z", "crew.set", "studio", somebody)
    lost, again = moves_of(story)[2:]
    assert (lost.before_min, lost.after_min, lost.delta_min) == (projected.after_min, None, None)
    # projected again an hour after opening, in which nothing was started
    assert (again.before_min, again.delta_min) == (None, 60)


def test_a_delivered_episode_has_no_more_rows() -> None:
    story = one_episode()
    tell(story, "2031-03-04T12:00:00Z", "episode.delivered", EPISODE)
    *_, last = moves_of(story, until="2031-04-01T12:00:00Z")
    assert (last.type, last.after_min) == ("episode.delivered", minute("2031-03-04T12:00:00Z"))


def test_a_minute_over_which_no_date_moved_is_not_divided(monkeypatch: Any) -> None:
    story = one_episode(scenes=2)
    for scene in ("KESTREL-1/1", "KESTREL-1/2") * 8:
        story.tell("priority.set", scene, {"priority": 1})
    made: list[int] = []

    def count(board: Board, now_min: int, near: Schedule) -> Schedule:
        made.append(now_min)
        return schedule(board, now_min, near)

    monkeypatch.setattr(trail, "schedule", count)
    moves, _walk = walked(story.events)
    assert len(moves) == 2  # both scenes as they were listed
    # one for the minute; halving 31 events towards two of them that stand side by side
    assert len(made) <= 1 + 2 * 5


# properties


def test_the_random_logs_move_dates_in_every_way() -> None:
    random = Random(3)
    moves: list[DateMove] = []
    late = 0
    for _ in range(4):
        events = log_at_random([random.getrandbits(32) for _ in range(80)])
        late += sum(one.time_us > other.time_us for one, other in pairwise(events))
        moves += walked(events)[0]
    assert {move.cause for move in moves} == {EVENT, TIME}
    assert {"event.struck", "work.started", "retake.called"} <= {move.type for move in moves}
    assert any(move.retake_kind for move in moves)
    assert any((move.delta_min or 0) < 0 for move in moves)
    assert late > 10


@tried(30)
@given(LOGS)
def test_deltas_add_up_to_the_move_from_the_first_projection_to_the_present(
    seeds: list[int],
) -> None:
    events = log_at_random(seeds)
    moves, walk = walked(events)
    present = dates(plan_from_nothing(events, len(events), walk.now_min), walk.ends)
    for episode, end in walk.ends.items():
        mine = [move for move in moves if move.episode == episode]
        assert [move.number for move in mine] == list(range(1, len(mine) + 1))
        assert mine[-1].after_min == present[episode] == end.date_min
        projected = [move.after_min for move in mine if move.after_min is not None]
        moved = sum(move.delta_min or 0 for move in mine)
        assert not projected or moved == projected[-1] - projected[0]
        for one, other in pairwise(mine):
            assert other.before_min == one.after_min
    assert set(present) == set(walk.ends)


@tried(20)
@given(LOGS, st.data())
def test_walked_in_pieces_it_is_the_same_trail(seeds: list[int], data: st.DataObject) -> None:
    events = log_at_random(seeds)
    count = len(minutes_of(events))
    cuts = data.draw(st.frozensets(st.integers(0, count - 1)))
    whole, walk = walked(events)
    pieces, other = walked(events, cuts=cuts)
    assert pieces == whole
    assert other.ends == walk.ends


def is_strike(event: Event) -> bool:
    return isinstance(event.fact, EventStruck)


@tried(20)
@given(LOGS)
def test_each_delta_is_the_difference_of_two_plans_made_from_nothing(seeds: list[int]) -> None:
    events = log_at_random(seeds)
    moves, _walk = walked(events)
    before_min, before = events[0].recorded_us // US_PER_MIN, 0
    for now_min, recorded in minutes_of(events):
        for move in [move for move in moves if move.at_min == now_min]:
            if move.cause == TIME:
                assert move.position == before
                plans = [(before, before_min), (before, now_min)]
            else:
                first = move.position  # of strikes that follow each other, which are one step
                while first - 1 > before and all(map(is_strike, events[first - 2 : first])):
                    first -= 1
                plans = [(first - 1, now_min), (move.position, now_min)]
            begun = {move.episode: None}
            was, will = (dates(plan_from_nothing(events, *at), begun)[move.episode] for at in plans)
            assert move.after_min == will
            if move.number > 1:
                assert move.before_min == was
                if was is not None and will is not None:
                    assert move.delta_min == will - was
        before_min, before = now_min, recorded[-1].position


@tried(30)
@given(LOGS, st.integers(0, 3000))
def test_a_plan_stands_as_long_as_is_promised(seeds: list[int], minutes: int) -> None:
    events = log_at_random(seeds)
    now_min = events[-1].recorded_us // US_PER_MIN
    board = make_board(state_at(events, len(events)))
    plan = schedule(board, now_min)
    later_min = min(stands_until(plan), now_min + minutes)
    later = schedule(board, later_min)
    assert (later.plan.start == plan.plan.start).all()
    assert (later.plan.finish == plan.plan.finish).all()


@tried(30)
@given(LOGS)
def test_facts_that_are_listed_to_move_no_date_move_no_visit(seeds: list[int]) -> None:
    events = log_at_random(seeds)
    for event in events:
        if type(event.fact) not in trail.MOVES_NO_DATE:
            continue
        now_min = event.recorded_us // US_PER_MIN
        was = plan_from_nothing(events, event.position - 1, now_min)
        will = plan_from_nothing(events, event.position, now_min)
        assert was.board.frame.nodes == will.board.frame.nodes
        assert (was.plan.start == will.plan.start).all()
        assert (was.plan.finish == will.plan.finish).all()


def test_nothing_recorded_is_no_trail() -> None:
    walk = begin(schedule(make_board(EMPTY), 0), 0, {})
    assert pass_time(walk, 10_000)[0] == []
