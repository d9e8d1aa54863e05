"""The plan against other simulations of the same line, every start and finish to the minute.

`simulator` is a model in SimPy (a general-purpose package for discrete-event simulation), `naive`
counts minute by minute. Lines come at random as arrays; and studios come at random as the facts
that would be recorded of them, of which `posed_by_hand` makes the line without the service's help.
All is drawn from fixed seeds, and the last tests say what must occur in it.
"""

from collections import Counter
from datetime import date, datetime, timedelta
from functools import cache
from itertools import chain
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings

from service.planning.board.board import make_board
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import ON_DESK, OUT, Line
from service.planning.plan.schedule import schedule
from service.vocabulary.calendar import NEVER
from tests.outside.lines_at_random import line_at_random
from tests.outside.posed_by_hand import Reading, midnight, pose
from tests.outside.random_studios import Studio, StudioBuilder
from tests.outside.read_by_hand import Node, Read, minute_of, read
from tests.outside.simulator import Outcome, simulate
from tests.planning import naive
from tests.planning.lines import lines
from tests.telling import Story

LINES = range(240)
STUDIOS = range(30)
Spans = dict[Node, tuple[int, int]]


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    warm()


# --- lines as arrays -----------------------------------------------------------------------------


@cache
def line_of_seed(seed: int) -> tuple[Line, Outcome]:
    line = line_at_random(seed)
    return line, simulate(line)


@pytest.mark.parametrize("seed", LINES)
def test_a_line_is_planned_as_simpy_simulates_it(seed: int) -> None:
    line, simulated = line_of_seed(seed)
    plan = dispatch(line)
    assert plan.start.tolist() == simulated.start
    assert plan.finish.tolist() == simulated.finish


@settings(max_examples=40, derandomize=True)
@given(lines())
def test_an_odd_line_is_planned_as_simpy_simulates_it(line: Line) -> None:
    """Departments without crew, rate or hours, and more on desks than there are artists."""
    simulated = simulate(line)
    plan = dispatch(line)
    assert plan.start.tolist() == simulated.start
    assert plan.finish.tolist() == simulated.finish


# --- studios as facts ----------------------------------------------------------------------------


@cache
def studio_of_seed(seed: int, *, around_the_clock: bool) -> tuple[Studio, Reading, Outcome]:
    studio = StudioBuilder(seed, around_the_clock=around_the_clock).build()
    reading = pose(studio)
    return studio, reading, simulate(reading.line)


def planned(studio: Studio) -> Spans:
    """Start and finish by visit as the service plans them: recorded, decided, folded, scheduled."""
    story = Story()
    story.now = f"{studio.now:%Y-%m-%dT%H:%M:%SZ}"
    for fact in studio.facts:
        story.tell(fact.type, fact.subject, fact.data, at=f"{fact.at:%Y-%m-%dT%H:%M:%SZ}")
    made = schedule(make_board(story.state), minute_of(studio.now))
    spans = zip(made.plan.start.tolist(), made.plan.finish.tolist(), strict=True)
    return dict(zip(made.board.frame.nodes, spans, strict=True))


def by_visit(reading: Reading, start: list[int], finish: list[int]) -> Spans:
    # the hours that were worked out reach only some weeks ahead
    assert max(finish) < NEVER
    return dict(zip(reading.nodes, zip(start, finish, strict=True), strict=True))


@pytest.mark.parametrize("seed", STUDIOS)
def test_a_studio_that_never_closes_is_planned_as_simpy_simulates_it(seed: int) -> None:
    studio, reading, simulated = studio_of_seed(seed, around_the_clock=True)
    assert planned(studio) == by_visit(reading, simulated.start, simulated.finish)


@pytest.mark.parametrize("seed", STUDIOS)
def test_a_studio_with_its_calendars_is_planned_as_both_simulate_it(seed: int) -> None:
    studio, reading, simulated = studio_of_seed(seed, around_the_clock=False)
    counted = naive.simulate(reading.line)
    assert (simulated.start, simulated.finish) == counted
    assert planned(studio) == by_visit(reading, *counted)


# --- what the lines and studios have in them -----------------------------------------------------


def test_the_lines_have_everything_in_them() -> None:
    seen: Counter[str] = Counter()
    for line, simulated in map(line_of_seed, LINES):
        artists = line.crews.crew_artists.tolist()
        inputs = Counter(line.successor.tolist())
        outputs = (line.successor_from[1:] - line.successor_from[:-1]).tolist()
        pairs = [(row, after) for row in range(len(outputs)) for after in arcs_of(line, row)]
        seen["crews of one"] += 1 in artists
        seen["crews of forty"] += 40 in artists
        seen["crews that change"] += len(artists) > len(line.hours.window_from) - 1
        seen["departments"] += len(line.hours.window_from) > 4
        seen["hours"] += len(line.hours.window_start) > len(line.hours.window_from) - 1
        seen["splits"] += max(outputs) > 1
        seen["joins"] += max(inputs.values(), default=0) > 1
        seen["visits again"] += any(line.department[a] == line.department[b] for a, b in pairs)
        seen["on desks"] += ON_DESK in line.state
        seen["handed off"] += OUT in line.state
        seen["holds"] += any(0 < release < NEVER for release in line.release_min.tolist())
        seen["holds without end"] += NEVER in line.release_min
        seen["starts that others wait for"] += len(simulated.choices)
    assert seen.pop("starts that others wait for") > 3000
    assert min(seen.values()) > 20, seen


def arcs_of(line: Line, row: int) -> list[int]:
    arcs: list[int] = line.successor[
        line.successor_from[row] : line.successor_from[row + 1]
    ].tolist()
    return arcs


def test_each_part_of_the_order_decides() -> None:
    """Of a start and the next in the tray: the first place at which their ranks differ."""
    parts = ("put first", "priority", "delivery", "must-fix", "order of scenes")
    decided: Counter[str] = Counter()
    for seed in STUDIOS:
        _, reading, simulated = studio_of_seed(seed, around_the_clock=True)
        for choice in simulated.choices:
            first, second = reading.ranks[choice.row], reading.ranks[choice.passed_over]
            place = [one == other for one, other in zip(first, second, strict=True)].index(False)
            decided[parts[place]] += 1
    assert min(decided[part] for part in parts) >= 10, decided


def test_the_studios_have_everything_in_them() -> None:
    seen: Counter[str] = Counter()
    for seed in STUDIOS:
        studio, reading, simulated = studio_of_seed(seed, around_the_clock=False)
        found = read(studio)
        seen.update(
            what
            for what, there in {
                **in_the_facts(found, minute_of(studio.now)),
                **in_the_calendars(found, simulated),
                **in_the_crews(reading.line, simulated),
                "on desks": ON_DESK in reading.line.state,
            }.items()
            if there
        )
    assert len(seen) == 16
    assert min(seen.values()) >= 3, seen


def in_the_facts(found: Read, now: int) -> dict[str, bool]:
    stoppages = list(chain.from_iterable(found.stoppages.values()))
    held = [midnight(found.zone, by_on + timedelta(days=1)) for by_on in found.held.values()]
    return {
        "stoppages that are over": any(resumed is not None for _, _, resumed in stoppages),
        "stoppages that last": any(end > now and over is None for _, end, over in stoppages),
        "stoppages overdue": any(end <= now and over is None for _, end, over in stoppages),
        "holds": any(end > now for end in held),
        "holds overdue": any(end <= now for end in held),
        "retakes": any(visit.share is not None for visit in found.visits.values()),
        "elements": any(found.users.values()),
        "scenes omitted": bool(found.omitted),
        "episodes delivered": bool(found.delivered),
    }


def in_the_calendars(found: Read, simulated: Outcome) -> dict[str, bool]:
    spans = [span for span in zip(simulated.start, simulated.finish, strict=True) if span[0] >= 0]
    versions = list(chain.from_iterable(found.calendars.values()))
    off = {date.fromisoformat(on) for version in versions for on in version["days_off"]}
    nights = [midnight(found.zone, on) for on in off]
    zone = ZoneInfo(found.zone)
    first, last = (
        datetime.fromtimestamp(60 * t, zone)
        for t in (min(start for start, _ in spans), max(finish for _, finish in spans))
    )
    return {
        "other hours by department": len(found.calendars) > 1,
        "hours that change": any(len(of_owner) > 1 for of_owner in found.calendars.values()),
        "days off within a visit": any(start < t < end for start, end in spans for t in nights),
        "clocks that change": first.utcoffset() != last.utcoffset(),
    }


def in_the_crews(line: Line, simulated: Outcome) -> dict[str, bool]:
    """Whether a crew shrank below what was on its desks, and whether one grew before the end."""
    shrunk = grown = False
    ends, c = max(simulated.finish), line.crews
    for d in range(len(c.crew_from) - 1):
        rows = [row for row in range(len(line.state)) if line.department[row] == d]
        segments = range(c.crew_from[d] + 1, c.crew_from[d + 1])
        for at_min, artists, before in (
            (int(c.crew_at_min[s]), int(c.crew_artists[s]), int(c.crew_artists[s - 1]))
            for s in segments
        ):
            held = sum(simulated.start[row] < at_min < simulated.finish[row] for row in rows)
            shrunk |= line.now_min < at_min and artists < held
            grown |= line.now_min < at_min < ends and artists > before
    return {"crews that shrink below what they hold": shrunk, "crews that grow": grown}
