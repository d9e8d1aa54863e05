"""A studio with its country's holidays: its plan and margins against other people's calendars.

Finishes are counted minute by minute on the wall clock, margins with numpy.
"""

from datetime import date, datetime
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from service.planning.board.board import make_board
from service.planning.plan.gates import gate_standing
from service.planning.plan.schedule import Schedule, schedule
from service.vocabulary.calendar import NEVER, Shift
from service.vocabulary.facts.office import WEEKDAYS
from service.vocabulary.instants import US_PER_MIN, instant, parse_instant
from tests.outside.holidays_kept import (
    CLOSES_MIN,
    DAY,
    MONDAY_TO_FRIDAY,
    OPENS_MIN,
    STUDIOS,
    Studio,
    days_off,
    others_calendar,
)
from tests.outside.walls import Span, on_the_wall, walls
from tests.telling import Story, office

SPAN_FROM, SPAN_UNTIL = date(2031, 3, 1), date(2031, 5, 20)
NOW = "2031-03-03T08:30:00Z"
EPISODE, SCENE = "KESTREL-1", "KESTREL-1/1"
FEET = 150  # at 5 feet an artist-day thirty days of animation, so that clocks change meanwhile
NIGHT_SHIFT = Shift(MONDAY_TO_FRIDAY, 22 * 60, 30 * 60)
LINE_MIN = {  # a scene's working minutes: its work at the rates of tests.telling, 480 a day
    "layout": 240,
    "animation": FEET // 5 * 480,
    "paint": 960,
    "camera": 30,  # as stated: the line then ends while UTC has another date than Lord Howe
    "cutting": 480,
    "mix": 480,
}


def story_of(studio: Studio) -> Story:
    """A studio with its country's holidays and one scene; its paint department works at night."""
    story = Story()
    names = [WEEKDAYS[day - 1] for day in studio.weekdays]
    set_ = {
        "from_on": "2031-01-01",
        "zone": studio.zone,
        "shifts": [{"days": names, "opens": "09:00", "closes": "17:00"}],
        "days_off": [str(on) for on in days_off(studio) if on.year >= 2031],
    }
    night = {"days": list(WEEKDAYS[:5]), "opens": "22:00", "closes": "06:00"}
    for type_, subject, data in office(scenes=1, episodes=(EPISODE,)):
        replaced: dict[str, Any] = {
            "calendar.set": set_,
            "scene.listed": {"frames": FEET * 16, "drawings": 40, "work": {"camera": 0.25}},
        }
        story.tell(type_, subject, replaced.get(type_, data))
    by_night = {"from_on": "2031-01-01", "department": "paint", "shifts": [night]}
    story.tell("calendar.set", "studio", by_night)
    story.desk(EPISODE, "storyboard", start="2031-03-03T07:00:00Z", end="2031-03-03T08:00:00Z")
    return story


def plan_of(story: Story) -> Schedule:
    return schedule(make_board(story.state), parse_instant(NOW) // US_PER_MIN)


def expected_finishes(studio: Studio) -> list[int]:
    """When each department of LINE_MIN is done, minute by minute."""
    span = Span(studio.zone, SPAN_FROM, SPAN_UNTIL)
    first, _ = walls(span)
    by_day = on_the_wall(
        span, [Shift(studio.weekdays, OPENS_MIN, CLOSES_MIN)], off=days_off(studio)
    )
    by_night = on_the_wall(span, [NIGHT_SHIFT])
    at, finishes = parse_instant(NOW) // US_PER_MIN - first, []
    for department, minutes in LINE_MIN.items():
        worked = by_night if department == "paint" else by_day
        at += int(np.flatnonzero(worked[at:])[minutes - 1]) + 1
        finishes.append(first + at)
    return finishes


PLANNED = [STUDIOS[place] for place in (0, 1, 2, 5, 8)]


@pytest.mark.parametrize("studio", PLANNED, ids=lambda studio: studio.zone)
def test_a_plan_ends_at_the_minute_that_the_wall_says(studio: Studio) -> None:
    plan = plan_of(story_of(studio))
    rows = [
        plan.board.frame.row_of[EPISODE if name in ("cutting", "mix") else SCENE, name]
        for name in LINE_MIN
    ]
    finishes = expected_finishes(studio)
    assert plan.plan.finish[rows].tolist() == finishes
    offsets = {
        instant(at * US_PER_MIN).astimezone(ZoneInfo(studio.zone)).utcoffset()
        for at in (parse_instant(NOW) // US_PER_MIN, finishes[-1])
    }
    assert len(offsets) == (1 if studio.zone == "Asia/Kathmandu" else 2), "no clock was changed"


@pytest.mark.parametrize("studio", PLANNED, ids=lambda studio: studio.zone)
def test_the_margin_of_a_plan_agrees_with_numpy(studio: Studio) -> None:
    story = story_of(studio)
    zone = ZoneInfo(studio.zone)
    last_min = expected_finishes(studio)[-1] - 1
    done_on = datetime.fromtimestamp(last_min * 60, zone).date()
    others = others_calendar(studio)
    drawn = Random(studio.zone)
    dates = [done_on, done_on - DAY, done_on + DAY, date(2031, 12, 31), date(2032, 1, 1)]
    dates += [date(2032, 2, 29), *(done_on + DAY * drawn.randint(-80, 400) for _ in range(8))]
    for due_on in dates:
        story.tell("gate.set", EPISODE, {"gate": "delivery", "due_on": str(due_on)})
        plan = plan_of(story)
        standing = gate_standing(plan, EPISODE, "delivery")
        low, high = min(done_on, due_on) + DAY, max(done_on, due_on) + DAY
        count = int(np.busday_count(low, high, busdaycal=others))
        assert standing.projected_on == done_on
        assert standing.margin_workdays == (count if due_on >= done_on else -count)
        # due at the end of that day: the last minute that is in time still has its date on the wall
        late_min = int(plan.latest_of()[plan.board.frame.row_of[EPISODE, "mix"]])
        assert late_min < NEVER
        shown = [datetime.fromtimestamp((late_min + at) * 60, zone) for at in (-1, 0)]
        assert [at.date() for at in shown] == [due_on, due_on + DAY]
