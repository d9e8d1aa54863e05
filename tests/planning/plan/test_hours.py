"""A department's own hours: from when they hold, and that repeating hours moves nothing."""

from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import make_board
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.standing import Standings
from service.production.state import STUDIO_CALENDAR
from service.production.work import calendar_of
from service.vocabulary.calendar import CalendarVersion
from service.vocabulary.facts.office import WEEKDAYS
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.properties import tried
from tests.telling import Story, studio

NOW_MIN = parse_instant("2031-03-03T09:00:00Z") // US_PER_MIN
DEPARTMENTS = ("layout", "background", "animation", "paint", "camera", "cutting")
DATES = ("2031-01-01", "2031-02-10", "2031-03-03", "2031-03-06", "2031-03-17", "2031-12-01")


def planned(story: Story) -> Schedule:
    return schedule(make_board(story.state), NOW_MIN)


def hours(days: int, opens: str, closes: str) -> list[dict[str, Any]]:
    return [{"days": list(WEEKDAYS[:days]), "opens": opens, "closes": closes}]


def calendar_data(version: CalendarVersion, from_on: str) -> dict[str, Any]:
    """The data of a fact that sets a version of a calendar from another date on."""
    shifts = [
        {
            "days": [WEEKDAYS[number - 1] for number in shift.weekdays],
            "opens": f"{shift.opens_min // 60:02d}:{shift.opens_min % 60:02d}",
            "closes": f"{shift.closes_min % 1440 // 60:02d}:{shift.closes_min % 60:02d}",
        }
        for shift in version.shifts
    ]
    days_off = sorted(on.isoformat() for on in version.days_off)
    return {"from_on": from_on, "shifts": shifts, "days_off": days_off}


def test_until_its_own_hours_begin_a_department_keeps_the_studios() -> None:
    story = studio()
    before = Standings.of(planned(story)).visit("KESTREL-1/1", "layout")
    own = {"department": "layout", "from_on": "2031-03-17", "shifts": hours(6, "08:00", "18:00")}
    story.tell("calendar.set", "studio", own)
    after = Standings.of(planned(story)).visit("KESTREL-1/1", "layout")
    assert before.projected_start_min == after.projected_start_min == NOW_MIN
    calendar = calendar_of(story.state, "layout")
    assert calendar is not None
    assert [version.from_on.isoformat() for version in calendar.versions] == [
        *("2031-01-01", "2031-03-17"),
    ]


def test_from_then_on_it_keeps_its_own_whatever_the_studio_does() -> None:
    story = studio()
    own = {"department": "layout", "from_on": "2031-03-17", "shifts": hours(6, "08:00", "18:00")}
    story.tell("calendar.set", "studio", own)
    for from_on in ("2031-03-10", "2031-03-24"):
        later = {"from_on": from_on, "shifts": hours(4, "10:00", "14:00")}
        story.tell("calendar.set", "studio", later)
    calendar = calendar_of(story.state, "layout")
    assert calendar is not None
    days = {
        version.from_on.isoformat(): version.shifts[0].weekdays for version in calendar.versions
    }
    assert {from_on: len(weekdays) for from_on, weekdays in days.items()} == {
        "2031-01-01": 5,
        "2031-03-10": 4,
        "2031-03-17": 6,
    }


def with_hours(random: Random) -> Story:
    """A studio that changes its hours now and then, and departments with hours of their own."""
    story = studio()
    for _ in range(random.randint(0, 4)):
        data: dict[str, Any] = {
            "from_on": random.choice(DATES[1:]),
            "shifts": hours(random.randint(3, 7), "09:00", random.choice(("15:00", "02:00"))),
            "days_off": random.sample(DATES, random.randint(0, 2)),
        }
        if random.random() < 0.5:
            data["department"] = random.choice(DEPARTMENTS)
        story.tell("calendar.set", "studio", data)
    return story


@tried(50)
@given(seed=st.integers(0, 2**32 - 1))
def test_hours_equal_to_those_in_force_move_no_date(seed: int) -> None:
    """Set from any date on, for the studio or a department; later changes are set again too."""
    random = Random(seed)
    story = with_hours(random)
    before = planned(story)
    owner = random.choice((STUDIO_CALENDAR, *DEPARTMENTS))
    calendar = calendar_of(story.state, owner)
    assert calendar is not None
    from_on = random.choice(DATES)
    in_force = [version for version in calendar.versions if version.from_on.isoformat() <= from_on]
    later = [version for version in calendar.versions if version.from_on.isoformat() > from_on]
    facts = [calendar_data(in_force[-1], from_on)] if in_force else []
    facts += [calendar_data(version, version.from_on.isoformat()) for version in later]
    for data in facts:
        story.tell("calendar.set", "studio", data | ({"department": owner} if owner else {}))
    after = planned(story)
    np.testing.assert_array_equal(before.plan.start, after.plan.start)
    np.testing.assert_array_equal(before.plan.finish, after.plan.finish)
    np.testing.assert_array_equal(before.latest_of(), after.latest_of())


@pytest.mark.parametrize("department", DEPARTMENTS)
def test_a_department_that_repeats_the_studios_hours_later_moves_nothing(department: str) -> None:
    story = studio()
    before = planned(story)
    for from_on in ("2031-03-06", "2031-06-02"):
        data = {"department": department, "from_on": from_on}
        story.tell("calendar.set", "studio", data | {"shifts": hours(5, "09:00", "17:00")})
    np.testing.assert_array_equal(before.plan.finish, planned(story).plan.finish)
