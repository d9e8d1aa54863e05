"""The line simulated minute by minute with sets and counters: slow, and plain enough to believe.

It shares nothing with the kernel but the `Line`: working time is a set of minutes, a visit on a
desk counts down one by one, and every department looks at its tray in every minute.
"""

from dataclasses import dataclass, field

from service.planning.kernel.line import ON_DESK, OUT, WAITING, Line
from service.vocabulary.calendar import NEVER


@dataclass
class Desk:
    """A department: its working minutes, its crew segments, who is busy, what waits."""

    minutes: set[int]
    crews: list[tuple[int, int, int, int]]
    busy: dict[int, int] = field(default_factory=dict)
    tray: set[int] = field(default_factory=set)

    def crew(self, t: int) -> tuple[int, int, int, int]:
        found = (0, 0, 0, 1)
        for segment in self.crews:
            if segment[0] <= t:
                found = segment
        return found


def desks_of(line: Line) -> list[Desk]:
    desks = []
    h, c = line.hours, line.crews
    columns = (c.crew_at_min, c.crew_artists, c.crew_rate_e4, c.crew_day_min)
    for d in range(len(h.window_from) - 1):
        minutes: set[int] = set()
        for w in range(h.window_from[d], h.window_from[d + 1]):
            minutes.update(range(int(h.window_start[w]), int(h.window_end[w])))
        crews = [
            (int(at), int(artists), int(rate), int(day))
            for at, artists, rate, day in zip(*columns, strict=True)
        ]
        desks.append(Desk(minutes, crews[c.crew_from[d] : c.crew_from[d + 1]]))
    return desks


def duration(work_e4: int, rate_e4: int, day_min: int) -> int:
    whole, part = divmod(work_e4 * day_min, rate_e4)
    return max(1, whole + (1 if part else 0))


def remainder(line: Line, desk: Desk, row: int) -> int | None:
    """Minutes still to do of a row on a desk; None where its department never has a rate."""
    started = int(line.started_min[row])
    earlier = [segment for segment in desk.crews if segment[0] <= started]
    later = [segment for segment in desk.crews if segment[0] > started]
    for _, _, rate_e4, day_min in earlier[-1:] + later + earlier[::-1]:
        if rate_e4 > 0:
            done = sum(1 for t in range(started, line.now_min) if t in desk.minutes)
            return max(1, duration(int(line.work_e4[row]), rate_e4, day_min) - done)
    return None


class Simulation:
    """The line at one minute after another."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.desks = desks_of(line)
        rows = range(len(line.department))
        self.start = [-1 if line.state[row] == OUT else NEVER for row in rows]
        self.finish = list(self.start)
        self.upstream = [row for row in rows if line.state[row] == WAITING]
        self.release: list[int] = line.release_min.tolist()
        self.inputs: list[set[int]] = [set() for _ in rows]
        for row in rows:
            for arc in range(line.successor_from[row], line.successor_from[row + 1]):
                self.inputs[line.successor[arc]].add(row)
            if line.state[row] == ON_DESK:
                desk = self.desks[line.department[row]]
                left = remainder(line, desk, row)
                desk.busy[row] = NEVER if left is None else left
                self.start[row] = int(line.started_min[row])

    def run(self) -> None:
        now = self.line.now_min
        worked = {t for desk in self.desks for t in desk.minutes if t >= now}
        # minutes in which nobody works, and none has just ended, are passed over
        for t in sorted({now} | worked | {t + 1 for t in worked}):
            self.finishes(t)
            self.arrivals(t)
            if not self.upstream and not any(desk.busy or desk.tray for desk in self.desks):
                break
            for desk in self.desks:
                if t in desk.minutes:
                    if desk.tray:
                        self.starts(desk, t)
                    for row in desk.busy:
                        desk.busy[row] -= 1

    def finishes(self, t: int) -> None:
        for desk in self.desks:
            for row in [row for row, left in desk.busy.items() if left == 0]:
                self.finish[row] = t
                del desk.busy[row]

    def arrivals(self, t: int) -> None:
        finish = self.finish
        for row in [row for row in self.upstream if self.release[row] <= t]:
            if all(finish[before] <= t for before in self.inputs[row]):
                self.desks[self.line.department[row]].tray.add(row)
                self.upstream.remove(row)

    def starts(self, desk: Desk, t: int) -> None:
        _, artists, rate_e4, day_min = desk.crew(t)
        for row in sorted(desk.tray, key=lambda row: int(self.line.key[row])):
            if len(desk.busy) < artists and rate_e4 > 0:
                self.start[row] = t
                desk.busy[row] = duration(int(self.line.work_e4[row]), rate_e4, day_min)
                desk.tray.remove(row)


def simulate(line: Line) -> tuple[list[int], list[int]]:
    """Start and finish of every row, to the minute."""
    simulation = Simulation(line)
    simulation.run()
    return simulation.start, simulation.finish
