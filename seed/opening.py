"""The first post of the office, and what the desks had done on paper before it."""

from datetime import date, timedelta
from typing import Any

from seed import scenario
from seed.breakdown import UndatedFact, series_elements
from seed.dates import wall_min, workdays_after
from seed.journal import DatedFact
from seed.scenario import (
    CODES,
    DAY_MIN,
    EPISODES,
    FIRST_ON,
    SHOW,
    STATIONS,
    ZONE,
    board_on,
    episode_subject,
    gate_dates,
)

OPENING_MIN = 7 * 60
BEFORE_ON = date(2031, 1, 1)
"""Calendars and crews hold from here, so that boards begun on paper have hours to count."""


def office_opening() -> list[DatedFact]:
    """The show, its route, hours, crews, what the series keeps, and the boards under way."""
    at_min = wall_min(FIRST_ON, OPENING_MIN)
    facts = [
        DatedFact(
            at_min,
            "show.opened",
            SHOW,
            {"title": scenario.SHOW_TITLE, "frames_per_second": scenario.FRAMES_PER_SECOND},
        ),
        DatedFact(at_min + 1, "route.laid", SHOW, scenario.route()),
        *_calendars(at_min + 3),
        *(crew(at_min + 5, station.name, station.artists, BEFORE_ON) for station in STATIONS),
    ]
    facts.append(DatedFact(at_min + 7, "rate.set", SHOW, rates()))
    facts += [DatedFact(at_min + 10, *fact) for fact in series_elements()]
    for number in range(len(EPISODES)):
        if board_on(number) < FIRST_ON:
            facts += episode_opening(number, at_min + 20)
    return facts


def _calendars(at_min: int) -> list[DatedFact]:
    hours: dict[str, Any] = {"from_on": str(BEFORE_ON), "days_off": list(scenario.DAYS_OFF)}
    return [
        DatedFact(
            at_min,
            "calendar.set",
            "studio",
            {**hours, "zone": ZONE, "shifts": scenario.STUDIO_HOURS},
        ),
        DatedFact(
            at_min + 1,
            "calendar.set",
            "studio",
            {**hours, "department": "camera", "shifts": scenario.CAMERA_HOURS},
        ),
    ]


def crew(at_min: int, department: str, artists: int, from_on: date) -> DatedFact:
    """A department's crew from a date."""
    rate = next(station.rate for station in STATIONS if station.name == department)
    data = {
        "department": department,
        "artists": artists,
        "units_per_artist_day": rate,
        "minutes_per_artist_day": DAY_MIN,
        "from_on": str(from_on),
    }
    return DatedFact(at_min, "crew.set", "studio", data)


def rates() -> dict[str, Any]:
    """The rate card."""
    return {
        "currency": scenario.CURRENCY,
        "from_on": str(BEFORE_ON),
        "rates": scenario.RATES,
        "credit": scenario.CREDIT,
    }


def episode_opening(number: int, at_min: int) -> list[DatedFact]:
    """An episode enters the line, with its dates."""
    episode = EPISODES[number]
    subject = episode_subject(episode.code)
    data = {"title": episode.title, "frames": scenario.EPISODE_FRAMES}
    gates = [DatedFact(at_min, "gate.set", subject, gate) for _, gate in gate_dates(number)]
    return [DatedFact(at_min, "episode.opened", subject, data), *gates]


def desks_opening() -> dict[str, list[DatedFact]]:
    """By department, what was begun or done before the record: posted late, with its own times."""
    by_department: dict[str, list[DatedFact]] = {"design": [], "background": [], "storyboard": []}
    for place, fact in enumerate(series_elements()):
        department = _made_by(fact)
        if department in by_department:
            on = workdays_after(BEFORE_ON, 3 + place // 2)
            by_department[department] += _done(fact.subject, department, place, on)
    for number in range(len(EPISODES)):
        if board_on(number) < FIRST_ON:
            start_min = wall_min(board_on(number), 8 * 60 + 30)
            data = {"department": "storyboard", "artist": f"{CODES['storyboard']}-{number + 1:02d}"}
            subject = episode_subject(EPISODES[number].code)
            by_department["storyboard"].append(DatedFact(start_min, "work.started", subject, data))
    return by_department


def _made_by(fact: UndatedFact) -> str:
    kinds = {kind["kind"]: kind["departments"] for kind in scenario.route()["kinds"]}
    departments = kinds[fact.data["kind"]]
    return str(departments[0]) if len(departments) == 1 else ""


def _done(subject: str, department: str, place: int, on: date) -> list[DatedFact]:
    artist = f"{CODES[department]}-{place % 4 + 1:02d}"
    done_on = workdays_after(on, 2)
    started = {"department": department, "artist": artist}
    return [
        DatedFact(wall_min(on, 9 * 60), "work.started", subject, started),
        DatedFact(wall_min(done_on, 15 * 60), "hand-off.made", subject, {"department": department}),
    ]


def hours_span() -> tuple[date, date]:
    """The dates between which the desks' hours are needed."""
    return BEFORE_ON, scenario.LAST_ON + timedelta(days=400)
