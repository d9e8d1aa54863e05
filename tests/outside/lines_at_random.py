"""Lines at random from a seed: the shapes that a studio's line has, larger than it would need.

Items of several episodes pass a route that splits and joins and comes back to departments where
they have been (so several takes of one item wait for one crew); an episode's first and last visits
stand before and behind those of all its scenes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from service.planning.kernel.line import ON_DESK, OUT, WAITING, Line
from service.vocabulary.calendar import NEVER, WorkingTime
from tests.planning.lines import Crew, Department, Row, line_of

HORIZON_MIN = 20_000
ROWS_MOST = 48


@dataclass(frozen=True)
class Station:
    """A place on the route: a department, and the stations it follows."""

    department: int
    follows: Sequence[int]


@dataclass
class Sketch:
    """Rows so far, and what orders them in a tray: most of it is tied, the last place never."""

    rows: list[Row] = field(default_factory=list)
    ranks: list[tuple[int, int, int, int]] = field(default_factory=list)

    def add(self, row: Row, priority: int, due: int, must_fix: int) -> int:
        self.rows.append(row)
        self.ranks.append((-priority, due, -must_fix, len(self.ranks)))
        return len(self.rows) - 1

    def line(self, departments: Sequence[Department], now_min: int) -> Line:
        """The line; a rank's place among all is its key."""
        place = {rank: number for number, rank in enumerate(sorted(self.ranks))}
        rows = [
            Row(**{**vars(row), "key": place[rank]})
            for row, rank in zip(self.rows, self.ranks, strict=True)
        ]
        return line_of(departments, rows, now_min)


def hours(random: Random) -> WorkingTime:
    """The clock round, or a shift or two on most days."""
    if random.random() < 0.5:
        return WorkingTime.of([(0, HORIZON_MIN)])
    opens, length = random.randrange(0, 200), random.randrange(60, 300)
    windows = []
    for day in range(0, HORIZON_MIN, 600):
        if random.random() < 0.75:
            windows.append((day + opens, day + opens + length))
            windows.append((day + opens + length + 10, day + opens + length + 50))
    return WorkingTime.of(windows)


def crews(random: Random) -> list[Crew]:
    """1 to 40 artists who become more and fewer; nobody only between others."""
    changes = sorted(random.sample(range(1, 1500), random.choice([0, 0, 1, 2, 3])))
    sizes = [random.choice([1, 1, 2, 3, 5, 8, 20, 40, random.randint(1, 40)]) for _ in changes]
    if len(sizes) > 1 and random.random() < 0.3:
        sizes[0] = 0
    rates = [10_000, 10_000, 2_500, 7_300, 33_333]
    return [
        Crew(size, at_min, random.choice(rates), random.choice([1, 5, 8, 60]))
        for at_min, size in zip([0, *changes], [random.randint(1, 40), *sizes], strict=True)
    ]


def route(random: Random, departments: int) -> list[Station]:
    """Stations that follow one or two others; some departments come again later on."""
    stations = [Station(random.randrange(departments), ())]
    for number in range(1, random.randint(3, 9)):
        follows = random.sample(range(number), min(number, random.choice([1, 1, 2, 3])))
        again = random.random() < 0.4
        department = random.choice(stations).department if again else random.randrange(departments)
        stations.append(Station(department, sorted(follows)))
    return stations


def line_at_random(seed: int) -> Line:
    """The line of a seed."""
    random = Random(seed)
    departments = [Department(crews(random), hours(random)) for _ in range(random.randint(2, 7))]
    stations = route(random, len(departments))
    now_min = random.choice([0, 0, random.randrange(1, 900)])
    sketch = Sketch()
    scenes = max(1, ROWS_MOST // len(stations))
    for _ in range(random.randint(1, 4)):
        if len(sketch.rows) < ROWS_MOST:
            episode(random, sketch, len(departments), stations, now_min, random.randint(1, scenes))
    return sketch.line(departments, now_min)


def episode(
    random: Random,
    sketch: Sketch,
    departments: int,
    stations: Sequence[Station],
    now_min: int,
    scenes: int,
) -> None:
    """An episode's board, its scenes on the route, and its cutting."""
    due = random.choice([10, 10, 20])
    board = sketch.add(
        Row(random.randrange(departments), work(random), state=random.choice([WAITING, OUT])),
        0,
        due,
        0,
    )
    last: list[int] = []
    for _ in range(scenes):
        priority, must_fix = random.choice([0, 0, 0, 1, 2]), random.choice([0, 0, 0, 1])
        begun = random.choice([0, 0, random.randint(0, len(stations))])
        rows: list[int] = []
        for number, station in enumerate(stations):
            state = OUT if number < begun else WAITING
            if number == begun > 0 and random.random() < 0.7:
                state = ON_DESK
            row = Row(
                station.department,
                work(random),
                [rows[before] for before in station.follows] or [board],
                state,
                random.randint(0, now_min) if state == ON_DESK else 0,
                release(random),
            )
            rows.append(sketch.add(row, priority, due, must_fix))
        last.append(rows[-1])
    sketch.add(Row(random.randrange(departments), work(random), last), 0, due, 0)


def release(random: Random) -> int:
    """Mostly none; now and then a hold, seldom one whose end nobody knows."""
    return random.choice([0] * 18 + [random.randrange(3000)] * 2 + [random.choice([0, 0, NEVER])])


def work(random: Random) -> int:
    """Mostly alike, so that much ends in the same minute."""
    return random.choice([10_000, 10_000, 50_000, 250_000, random.randrange(0, 600_000)])
