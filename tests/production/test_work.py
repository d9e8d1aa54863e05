"""How much work a visit is, and what is left of it on a desk."""

from typing import Any

import pytest

from service.production.state import Stoppage, item_of
from service.production.takes import Phase, Take, Terms
from service.production.work import (
    base_work_e4,
    crew_at,
    elapsed_min,
    remaining_of,
    stopped_spans,
    supposed_end_min,
    terms_of,
)
from service.vocabulary.calendar import Calendar
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.telling import ROUTE, Story, studio


def base(story: Story, item: str, department: str) -> int:
    found = item_of(story.state, item)
    assert found is not None
    return base_work_e4(story.state, found, department)


def minute(text: str) -> int:
    return parse_instant(text) // US_PER_MIN


def test_each_department_counts_in_its_own_unit() -> None:
    story = studio(scenes=2)
    assert base(story, "KESTREL-1/1", "layout") == 10_000  # one scene
    assert base(story, "KESTREL-1/1", "background") == 10_000  # one painting
    assert base(story, "KESTREL-1/1", "animation") == 50_000  # 80 frames / 16 = 5 feet
    assert base(story, "KESTREL-1/1", "paint") == 400_000  # 40 drawings
    assert base(story, "KESTREL-1", "mix") == 10_000  # one episode


def with_unit(department: str, **more: Any) -> dict[str, Any]:
    departments = [
        {**stood, **more} if stood["department"] == department else stood
        for stood in ROUTE["departments"]
    ]
    return {**ROUTE, "departments": departments}


def test_a_department_may_make_a_part_of_the_drawings() -> None:
    story = Story()
    story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
    story.tell("route.laid", "KESTREL", with_unit("paint", drawings_part=0.5))
    story.tell("episode.opened", "KESTREL-1", {"title": "Number 1"})
    story.tell("scene.listed", "KESTREL-1/1", {"frames": 80, "drawings": 41})
    assert base(story, "KESTREL-1/1", "paint") == 205_000  # 20.5 drawings


def test_an_episode_counts_the_feet_of_its_scenes_in_the_picture() -> None:
    story = Story()
    story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
    story.tell("route.laid", "KESTREL", with_unit("mix", unit="feet"))
    story.tell("episode.opened", "KESTREL-1", {"title": "Number 1"})
    for number in (1, 2, 3):
        story.tell("scene.listed", f"KESTREL-1/{number}", {"frames": 80})
    assert base(story, "KESTREL-1", "mix") == 150_000
    story.tell("scene.omitted", "KESTREL-1/2")
    assert base(story, "KESTREL-1", "mix") == 100_000
    story.tell("episode.opened", "KESTREL-2", {"title": "Number 2", "frames": 31_680})
    assert base(story, "KESTREL-2", "mix") == 19_800_000  # 22 minutes: 1,980 feet


def test_stated_work_and_difficulty() -> None:
    story = studio(scenes=0)
    data = {"frames": 80, "work": {"animation": 7.5}, "difficulty": {"animation": 2, "layout": 1.5}}
    story.tell("scene.listed", "KESTREL-1/1", data)
    assert base(story, "KESTREL-1/1", "animation") == 150_000  # 7.5 x 2
    assert base(story, "KESTREL-1/1", "layout") == 15_000
    assert base(story, "KESTREL-1/1", "camera") == 10_000


def test_work_not_yet_done_follows_a_retime() -> None:
    story = studio(scenes=1)
    story.tell("scene.retimed", "KESTREL-1/1", {"frames": 160, "drawings": 60})
    assert base(story, "KESTREL-1/1", "animation") == 100_000
    assert base(story, "KESTREL-1/1", "paint") == 600_000
    story.tell("scene.retimed", "KESTREL-1/1", {"frames": 80})
    assert base(story, "KESTREL-1/1", "paint") == 600_000, "drawings left out stay"


def test_terms_are_the_routes() -> None:
    story = studio(scenes=1)
    assert terms_of(story.state, "KESTREL-1/1", "layout")(None) == Terms(10_000, 1_000, whole=False)
    assert terms_of(story.state, "KESTREL-1/1", "camera")(None) == Terms(10_000, 0, whole=True)


def test_terms_of_something_unknown_are_a_fault() -> None:
    with pytest.raises(LookupError):
        terms_of(studio().state, "KESTREL-9/1", "layout")(None)


def on_desk(started: str) -> Take:
    return Take(1, Phase.ON_DESK, 0, started_us=parse_instant(started))


# paint does 20 drawings a day of 480 minutes, 24 minutes a drawing: 40 drawings take 960 minutes
PAINT = Terms(400_000, 0, whole=False)


@pytest.mark.parametrize(
    ("until", "left_e4"),
    [
        ("2031-03-04T09:00:00Z", 400_000),
        ("2031-03-04T13:00:00Z", 300_000),  # 240 minutes: 10 drawings
        ("2031-03-04T13:00:59Z", 300_000),  # the minute counts once it is over
        ("2031-03-04T17:00:00Z", 200_000),
        ("2031-03-05T08:59:00Z", 200_000),  # the night is no working time
        ("2031-03-06T16:59:00Z", 417),  # overdue: what is on a desk has a minute left
        ("2031-06-01T12:00:00Z", 417),
    ],
)
def test_what_is_left_of_a_take_on_a_desk(until: str, left_e4: int) -> None:
    remaining = remaining_of(studio().state, "paint")
    assert remaining(on_desk("2031-03-04T09:00:00Z"), PAINT, parse_instant(until)) == left_e4


def test_a_take_that_starts_before_opening_works_from_opening_on() -> None:
    remaining = remaining_of(studio().state, "paint")
    left = remaining(on_desk("2031-03-04T02:00:00Z"), PAINT, parse_instant("2031-03-04T13:00:00Z"))
    assert left == 300_000


def test_a_weekend_is_no_working_time() -> None:
    remaining = remaining_of(studio().state, "paint")
    # 2031-03-07 is a Friday
    left = remaining(on_desk("2031-03-07T13:00:00Z"), PAINT, parse_instant("2031-03-10T13:00:00Z"))
    assert left == 200_000


def test_a_stoppage_is_no_working_time() -> None:
    story = studio()
    expected = {"department": "paint", "expected_end_at": "2031-03-04T11:00:00Z"}
    story.tell("department.stopped", "studio", expected, at="2031-03-04T10:00:00Z")
    take, noon = on_desk("2031-03-04T09:00:00Z"), parse_instant("2031-03-04T13:00:00Z")
    # overdue at 13:00: it still lasts, and only the first hour was worked
    assert remaining_of(story.state, "paint")(take, PAINT, noon) == 375_000
    resumed = {"department": "paint"}
    story.tell("department.resumed", "studio", resumed, at="2031-03-04T12:00:00Z")
    assert remaining_of(story.state, "paint")(take, PAINT, noon) == 350_000
    assert remaining_of(story.state, "animation")(take, PAINT, noon) == 375_000


def test_the_rate_is_that_of_the_start() -> None:
    story = studio()
    faster = {
        "department": "paint",
        "artists": 1,
        "units_per_artist_day": 40,
        "minutes_per_artist_day": 480,
        "from_on": "2031-03-05",
    }
    story.tell("crew.set", "studio", faster)
    remaining = remaining_of(story.state, "paint")
    evening = parse_instant("2031-03-05T17:00:00Z")
    assert remaining(on_desk("2031-03-04T17:00:00Z"), PAINT, evening) == 200_000
    assert remaining(on_desk("2031-03-05T09:00:00Z"), PAINT, evening) == 834


def test_without_a_crew_nothing_gets_less() -> None:
    story = Story()
    remaining = remaining_of(story.state, "paint")
    assert (
        remaining(on_desk("2031-03-04T09:00:00Z"), PAINT, parse_instant("2031-03-09T09:00:00Z"))
        == 400_000
    )


def test_the_crew_in_force_at_a_minute() -> None:
    story = studio()
    for from_on, artists in (("2031-03-10", 2), ("2031-03-05", 5)):
        crew = {
            "department": "paint",
            "artists": artists,
            "units_per_artist_day": 20,
            "minutes_per_artist_day": 480,
            "from_on": from_on,
        }
        story.tell("crew.set", "studio", crew)
    found = [
        crew_at(story.state, "paint", minute(text))
        for text in (
            "2030-12-31T23:59:00Z",
            "2031-01-01T00:00:00Z",
            "2031-03-09T23:59:00Z",
            "2031-03-10T00:00:00Z",
        )
    ]
    assert [crew and crew.artists for crew in found] == [None, 1, 5, 2]


def test_a_crew_set_again_for_a_date_takes_its_place() -> None:
    story = studio()
    crew = {
        "department": "paint",
        "artists": 7,
        "units_per_artist_day": 20,
        "minutes_per_artist_day": 480,
        "from_on": "2031-01-01",
    }
    story.tell("crew.set", "studio", crew)
    assert [one.artists for one in story.state.crews["paint"]] == [7]


def test_elapsed_minutes_are_none_backwards_or_without_a_calendar() -> None:
    story = studio()
    nine, ten = minute("2031-03-04T09:00:00Z"), minute("2031-03-04T10:00:00Z")
    assert elapsed_min(story.state, "paint", nine, ten) == 60
    assert elapsed_min(story.state, "paint", ten, nine) == 0
    assert elapsed_min(Story().state, "paint", nine, ten) == 0


def test_spans_of_stoppages() -> None:
    over = Stoppage(1, 10 * US_PER_MIN, 50 * US_PER_MIN, 20 * US_PER_MIN)
    empty = Stoppage(2, 30 * US_PER_MIN, 50 * US_PER_MIN, 30 * US_PER_MIN)
    lasting = Stoppage(3, 40 * US_PER_MIN, 50 * US_PER_MIN, -1)
    lisbon = Calendar("Europe/Lisbon", ())
    assert stopped_spans((over, empty, lasting), 45, lisbon) == [(10, 20), (40, 50)]
    late = stopped_spans((lasting,), 60, lisbon)
    assert late == [(40, 61)], "overdue, it ends in the next minute"


def test_a_stoppage_whose_end_nobody_knows_lasts_to_the_end_of_the_day() -> None:
    # summer time: the day ends an hour before midnight in UTC
    lisbon = Calendar("Europe/Lisbon", ())
    stoppage = Stoppage(1, parse_instant("2031-07-03T09:00:00Z"), -1, -1)
    for now, end in (
        ("2031-07-03T09:00:00Z", "2031-07-03T23:00:00Z"),
        ("2031-07-03T22:59:00Z", "2031-07-03T23:00:00Z"),
        ("2031-07-03T23:00:00Z", "2031-07-04T23:00:00Z"),
    ):
        assert supposed_end_min(stoppage, minute(now), lisbon) == minute(end)
