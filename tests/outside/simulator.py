"""The line as a model in SimPy, a general-purpose package for discrete-event simulation.

Visits, hours and crews are processes; a visit on a desk is interrupted when its department closes
and goes on when it opens. Of the plan's code it shares the `Line` alone, and of the rules what they
say: in each minute finishes, then arrivals, then crew changes and openings, then starts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heappop, heappush
from math import ceil
from typing import NamedTuple

import simpy
from simpy.events import NORMAL, EventPriority, ProcessGenerator

from service.planning.kernel.line import ON_DESK, OUT, Line
from service.vocabulary.calendar import NEVER

# SimPy takes the events of one minute by these; finishes and what they bring are NORMAL
CHANGES = EventPriority(NORMAL + 1)
STARTS = EventPriority(NORMAL + 2)


class Crew(NamedTuple):
    """Artists from a minute on, and what one does in a day of so many working minutes."""

    at_min: int
    artists: int
    rate_e4: int
    day_min: int

    def minutes_for(self, work_e4: int) -> int:
        """Working minutes that a work takes, begun ones whole, at least one."""
        return max(1, ceil(Fraction(work_e4, self.rate_e4) * self.day_min))


NOBODY = Crew(-1, 0, 0, 1)


class Turn(simpy.Event):
    """An event of this very minute that comes after everything of a smaller priority."""

    def __init__(self, env: simpy.Environment, priority: EventPriority) -> None:
        super().__init__(env)
        self._ok = True
        self._value = None
        env.schedule(self, priority)


class Choice(NamedTuple):
    """A start: who began, and who was next in the tray."""

    row: int
    passed_over: int


class Department:
    """Identical artists with a tray in front of them and hours on the door."""

    def __init__(
        self, env: simpy.Environment, hours: Sequence[tuple[int, int]], crews: Sequence[Crew]
    ) -> None:
        self.env = env
        self.tray: list[tuple[int, int, simpy.Event]] = []
        self.on_desks = 0
        self.at_work: set[simpy.Process] = set()
        self.crew = NOBODY
        self.is_open = False
        self.opening = env.event()
        self.bell = env.event()
        self.choices: list[Choice] = []
        env.process(self.keep_hours(hours))
        env.process(self.change_crews(crews))
        env.process(self.hand_out())

    def minutes_until(self, minute: int) -> int:
        return max(0, minute - int(self.env.now))

    def keep_hours(self, hours: Sequence[tuple[int, int]]) -> ProcessGenerator:
        for opens, closes in hours:
            if closes <= self.env.now:
                continue
            yield self.env.timeout(self.minutes_until(opens))
            yield Turn(self.env, CHANGES)
            self.is_open = True
            self.opening.succeed()
            self.opening = self.env.event()
            self.ring()
            yield self.env.timeout(self.minutes_until(closes))
            yield Turn(self.env, CHANGES)
            self.is_open = False
            for process in list(self.at_work):
                process.interrupt("closing time")

    def change_crews(self, crews: Sequence[Crew]) -> ProcessGenerator:
        for crew in crews:
            yield self.env.timeout(self.minutes_until(crew.at_min))
            yield Turn(self.env, CHANGES)
            self.crew = crew
            self.ring()

    def ring(self) -> None:
        """Say that somebody may be able to start."""
        if not self.bell.triggered:
            self.bell.succeed()

    def hand_out(self) -> ProcessGenerator:
        while True:
            yield self.bell
            self.bell = self.env.event()
            yield Turn(self.env, STARTS)
            while self.can_start():
                _, row, desk = heappop(self.tray)
                if self.tray:
                    self.choices.append(Choice(row, self.tray[0][1]))
                self.on_desks += 1
                desk.succeed()

    def can_start(self) -> bool:
        ready = self.is_open and self.crew.rate_e4 > 0
        return ready and bool(self.tray) and self.on_desks < self.crew.artists

    def desk(self, key: int, row: int) -> simpy.Event:
        """A desk for a visit, in its turn."""
        desk = self.env.event()
        heappush(self.tray, (key, row, desk))
        self.ring()
        return desk

    def work(self, minutes: int) -> ProcessGenerator:
        """So many working minutes; nights and stoppages come between."""
        process = self.env.active_process
        assert process is not None
        while minutes > 0:
            if not self.is_open:
                yield self.opening
            began = int(self.env.now)
            self.at_work.add(process)
            try:
                yield self.env.timeout(minutes)
                minutes = 0
            except simpy.Interrupt:
                minutes -= int(self.env.now) - began
            self.at_work.discard(process)
        self.on_desks -= 1
        self.ring()


@dataclass(frozen=True)
class Outcome:
    """Start and finish by row (NEVER where there is none, -1 for rows that are OUT)."""

    start: list[int]
    finish: list[int]
    choices: list[Choice]


class Floor:
    """All departments of a line, and its visits as they pass."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.env = simpy.Environment(initial_time=line.now_min)
        self.hours = [hours_of(line, d) for d in range(len(line.hours.window_from) - 1)]
        self.crews = [crews_of(line, d) for d in range(len(line.hours.window_from) - 1)]
        self.departments = [
            Department(self.env, hours, crews)
            for hours, crews in zip(self.hours, self.crews, strict=True)
        ]
        rows = range(len(line.state))
        self.start = [-1 if line.state[row] == OUT else NEVER for row in rows]
        self.finish = list(self.start)
        self.handed_off = [self.env.event() for _ in rows]
        self.inputs: list[list[simpy.Event]] = [[] for _ in rows]
        for row in rows:
            if line.state[row] != OUT:
                for arc in range(line.successor_from[row], line.successor_from[row + 1]):
                    self.inputs[line.successor[arc]].append(self.handed_off[row])
        for row in rows:
            if line.state[row] == ON_DESK:
                self.env.process(self.on_desk(row))
            elif line.state[row] != OUT:
                self.env.process(self.visit(row))

    def visit(self, row: int) -> ProcessGenerator:
        department = self.departments[self.line.department[row]]
        yield self.env.all_of(self.inputs[row])
        release_min = int(self.line.release_min[row])
        if release_min >= NEVER:
            return
        yield self.env.timeout(department.minutes_until(release_min))
        yield department.desk(int(self.line.key[row]), row)
        self.start[row] = int(self.env.now)
        yield from department.work(department.crew.minutes_for(int(self.line.work_e4[row])))
        self.hand_off(row)

    def on_desk(self, row: int) -> ProcessGenerator:
        """A visit that was started before the plan begins, whatever stands before it."""
        d = int(self.line.department[row])
        started = self.start[row] = int(self.line.started_min[row])
        self.departments[d].on_desks += 1
        crew = crew_that_counts(self.crews[d], started)
        if crew is not None:
            now = int(self.env.now)
            spans = ((max(opens, started), min(closes, now)) for opens, closes in self.hours[d])
            done = sum(max(0, until - since) for since, until in spans)
            left = crew.minutes_for(int(self.line.work_e4[row])) - done
            yield from self.departments[d].work(max(1, left))
            self.hand_off(row)

    def hand_off(self, row: int) -> None:
        self.finish[row] = int(self.env.now)
        self.handed_off[row].succeed()


def hours_of(line: Line, d: int) -> list[tuple[int, int]]:
    h = line.hours
    windows = range(h.window_from[d], h.window_from[d + 1])
    return [(int(h.window_start[w]), int(h.window_end[w])) for w in windows]


def crews_of(line: Line, d: int) -> list[Crew]:
    c = line.crews
    columns = (c.crew_at_min, c.crew_artists, c.crew_rate_e4, c.crew_day_min)
    segments = range(c.crew_from[d], c.crew_from[d + 1])
    return [Crew(*(int(column[segment]) for column in columns)) for segment in segments]


def crew_that_counts(crews: Sequence[Crew], at_min: int) -> Crew | None:
    """The crew in force if it has a rate, else the next that has one, else the last that had."""
    behind = [crew for crew in crews if crew.at_min <= at_min]
    ahead = [crew for crew in crews if crew.at_min > at_min]
    in_order = [*behind[-1:], *ahead, *reversed(behind)]
    return next((crew for crew in in_order if crew.rate_e4 > 0), None)


def simulate(line: Line) -> Outcome:
    """Run the line until nothing can happen any more."""
    floor = Floor(line)
    floor.env.run()
    choices = [choice for department in floor.departments for choice in department.choices]
    return Outcome(floor.start, floor.finish, choices)
