"""Every log that the rules accept can be planned, and all that follows from it be shown."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import make_board
from service.planning.compare.impact import compare
from service.planning.plan.chain import critical_chain
from service.planning.plan.gates import gate_standings
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.standing import Standings
from service.production.account import account
from service.production.decide import bounds, retell
from service.production.state import EMPTY
from service.production.takes import Phase
from service.production.work import WORK_E4_MAX, base_work_e4
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from tests.production.extremes import EXTREMES
from tests.production.random_logs import ALL, SEEDS, furnished, tell_at_random
from tests.properties import tried
from tests.telling import Story, studio

MOMENTS = [
    parse_instant(text) // US_PER_MIN
    for text in ("2031-03-04T09:00:00Z", "2031-04-20T23:59:00Z", "2199-12-31T23:59:00Z")
]
FURNISHED = furnished()
PROPOSERS = (*ALL, *EXTREMES)


def story_of(seeds: list[int], *, bounded: bool = True) -> Story:
    """A log of extremes; not bounded, as it was recorded before dates had bounds."""
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    with pytest.MonkeyPatch.context() as patch:
        if not bounded:
            patch.setattr(bounds, "dates_against", lambda event: iter(()))
        return tell_at_random(story, seeds, PROPOSERS)


@pytest.mark.parametrize("end", ["retake.withdrawn", "retake.bought-as-is"])
def test_a_take_taken_back_from_a_desk_with_nothing_to_draw_can_be_planned(end: str) -> None:
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    story.tell("scene.listed", "KESTREL-1/9", {"frames": 80, "drawings": 0})
    story.desk("KESTREL-1/9", "paint", start="2031-03-04T09:00:00Z")
    story.call("R1", "KESTREL-1/9", "paint", "character", at="2031-03-04T10:00:00Z")
    story.tell(end, "KESTREL-1/9", {"retake": "R1"}, at="2031-03-04T11:00:00Z")
    assert_showable(schedule(make_board(story.state), MOMENTS[0]))
    take = story.take("KESTREL-1/9", "paint")
    assert (take.number, take.phase) == (2, Phase.WAITING), "it is still to be handed off"


def test_a_latest_finish_lies_within_the_calendar_however_long_the_work() -> None:
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    slow = {"artists": 1, "units_per_artist_day": 0.0001, "minutes_per_artist_day": 1440}
    story.tell("crew.set", "studio", {"department": "paint", "from_on": "2031-01-01", **slow})
    story.tell("scene.listed", "KESTREL-1/9", {"frames": 1, "work": {"paint": 10_000_000}})
    planned = schedule(make_board(story.state), MOMENTS[0])
    assert_showable(planned)
    visits = {visit.department: visit for visit in Standings.of(planned).visits("KESTREL-1/9")}
    latest_min = visits["layout"].latest_finish_min
    assert latest_min is not None
    assert format_min(latest_min) == "1900-01-01T00:00:00Z", "the earliest that is shown"


def test_the_work_of_a_visit_stays_within_what_can_be_counted() -> None:
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    frames = {"frames": 10_000_000, "work": {"camera": 10_000_000}, "difficulty": {"camera": 100}}
    story.tell("scene.listed", "KESTREL-1/9", frames)
    assert WORK_E4_MAX * 1440 < NEVER
    huge = story.state.scenes["KESTREL-1/9"]
    assert base_work_e4(story.state, huge, "camera") == 10_000_000 * 100 * 10_000
    more = huge._replace(difficulty=(("camera", 10**9),))
    assert base_work_e4(story.state, more, "camera") == WORK_E4_MAX


@pytest.mark.parametrize("far", ["1900-01-01", "1931-03-04", "2199-12-31"])
def test_a_log_from_before_dates_had_bounds_is_planned_and_struck_from(far: str) -> None:
    story = studio()
    early = story.tell("priority.set", "KESTREL-1", {"priority": 5})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bounds, "dates_against", lambda event: iter(()))
        story.tell("gate.set", "KESTREL-1", {"gate": "lock", "due_on": far})
        hold = story.tell("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": far})
    assert_showable(schedule(make_board(story.state), MOMENTS[0]))
    retold = retell(EMPTY, story.events)
    assert (retold.state, retold.set_aside) == (story.state, ())
    # a strike of something else decides the far dates behind it anew, and they are no reason
    for struck in (early, hold):
        story.tell("event.struck", "studio", {"position": struck.position})
    assert_showable(schedule(make_board(story.state), MOMENTS[0]))


@tried(100)
@given(st.lists(SEEDS, max_size=60))
def test_no_take_that_was_taken_back_is_current(seeds: list[int]) -> None:
    for visits in story_of(seeds).state.visits.values():
        for visit in visits.values():
            assert visit.current.phase is not Phase.TAKEN_BACK


@tried(150)
@given(st.lists(SEEDS, min_size=1, max_size=40), st.sampled_from(MOMENTS), st.booleans())
def test_every_accepted_log_can_be_planned(seeds: list[int], now_min: int, bounded: bool) -> None:
    before = schedule(make_board(story_of(seeds[:-1], bounded=bounded).state), now_min)
    story = story_of(seeds, bounded=bounded)
    after = schedule(make_board(story.state), now_min)
    assert_showable(after)
    compare(before, after)
    list(account(story.state, story.state.retakes))


def assert_showable(planned: Schedule) -> None:
    """All that answers show of a plan can be worked out, and its minutes are minutes."""
    plan = planned.plan
    assert all(-1 <= minute <= NEVER for minute in (*plan.start.tolist(), *plan.finish.tolist()))
    state, standings = planned.state, Standings.of(planned)
    for episode in state.episodes:
        gate_standings(planned, episode)
        critical_chain(planned, episode)
    for item in (*state.scenes, *state.episodes, *state.elements):
        for visit in standings.visits(item):
            start, finish = visit.projected_start_min, visit.projected_finish_min
            assert start is None or finish is None or start < finish
            for minute in (start, finish, visit.latest_finish_min, visit.overdue_since_min):
                assert minute is None or format_min(minute)
        standings.finish_min(item)
