"""Shops of the literature recorded as studios: a machine is a department of one artist.

The studio works round the clock in UTC and an artist does 1,440 units of 1,440 minutes, so that a
unit of stated work is a minute and a plan's minutes are the shop's time units.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from service.planning.board.board import make_board
from service.planning.plan.schedule import schedule
from service.vocabulary.facts.office import WEEKDAYS
from service.vocabulary.facts.routes import STRANDS
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.telling import Story

OPENING = "2031-03-03T00:00:00Z"
_SINCE_ON = "2031-01-01"

Job = Sequence[tuple[int, int]]
"""A job's operations in order: machine and minutes. None visits a machine twice."""

Visit = tuple[int, int]
"""A job's number and a machine's."""

Spans = Mapping[Visit, tuple[int, int]]
"""Start and finish of every visit, in minutes since the opening."""


def round_the_clock() -> Story:
    """A studio that never closes, at its opening."""
    story = Story()
    story.now = OPENING
    hours = {"days": list(WEEKDAYS), "opens": "00:00", "closes": "00:00"}
    story.tell("calendar.set", "studio", {"from_on": _SINCE_ON, "zone": "UTC", "shifts": [hours]})
    return story


def set_crew(story: Story, department: str, artists: int = 1) -> None:
    """Tell a department's crew: each artist a unit a minute."""
    crew = {
        "department": department,
        "artists": artists,
        "units_per_artist_day": 1440,
        "minutes_per_artist_day": 1440,
        "from_on": _SINCE_ON,
    }
    story.tell("crew.set", "studio", crew)


def planned(story: Story) -> dict[tuple[str, str], tuple[int, int]]:
    """Start and finish of every visit planned at the opening, by item and department."""
    opening_min = parse_instant(OPENING) // US_PER_MIN
    plan = schedule(make_board(story.state), opening_min)
    starts, finishes = plan.plan.start - opening_min, plan.plan.finish - opening_min
    spans = zip(starts.tolist(), finishes.tolist(), strict=True)
    return dict(zip(plan.board.frame.nodes, spans, strict=True))


@dataclass(frozen=True)
class Shop:
    """A shop recorded as a studio: job `n` is the item `items[n]`."""

    story: Story
    jobs: Sequence[Job]
    items: Sequence[str]

    def prioritized(self, order: Sequence[int]) -> "Shop":
        """The same with a `priority.set` for every job, the first of `order` highest."""
        return self.later(
            ("priority.set", self.items[job], {"priority": 1000 - place})
            for place, job in enumerate(order)
        )

    def with_first(self, visits: Sequence[Visit]) -> "Shop":
        """The same with a `visit.put-first` for each of `visits`, the first of them foremost."""
        return self.later(
            ("visit.put-first", self.items[job], {"department": _department(machine)})
            for job, machine in reversed(visits)  # the latest order goes first
        )

    def later(self, facts: Iterable[tuple[str, str, dict[str, Any]]]) -> "Shop":
        """The same with further facts of one role, recorded as a batch."""
        story = Story()
        story.now, story.state = self.story.now, self.story.state
        story.events = list(self.story.events)
        place = len(story.events) + 1
        story.record(*(story.event(*fact, position=place + n) for n, fact in enumerate(facts)))
        return Shop(story, self.jobs, self.items)

    def spans(self) -> Spans:
        """Its plan."""
        found = planned(self.story)
        visits = [(job, machine) for job, steps in enumerate(self.jobs) for machine, _ in steps]
        assert len(found) == len(visits), "the studio has other visits than the shop"
        return {
            (job, machine): found[self.items[job], _department(machine)] for job, machine in visits
        }

    def makespan(self) -> int:
        """The last finish of its plan."""
        return max(finish for _, finish in self.spans().values())


def _department(machine: int) -> str:
    return f"machine-{machine}"


def _route(job: Job) -> dict[str, Any]:
    """The route of a show whose scenes pass the machines in a job's order."""
    departments: list[dict[str, Any]] = []
    for machine, _ in job:
        stands: dict[str, Any] = {"department": _department(machine), "grain": "scene"}
        stands["unit"] = "scenes"
        if departments:
            before = departments[-1]["department"]
            stands["follows"] = [{"department": before, "strands": list(STRANDS)}]
        departments.append(stands)
    gate = {"gate": "delivery", "department": departments[-1]["department"]}
    return {"departments": departments, "gates": [gate]}


def _list_scene(story: Story, scene: str, job: Job) -> None:
    work = {_department(machine): minutes for machine, minutes in job}
    story.tell("scene.listed", scene, {"frames": 24, "work": work})


def _set_crews(story: Story, jobs: Sequence[Job]) -> None:
    for machine in sorted({machine for job in jobs for machine, _ in job}):
        set_crew(story, _department(machine))


def job_shop(jobs: Sequence[Job]) -> Shop:
    """Every job is the only scene of a show of its own, whose route is the job's."""
    story = round_the_clock()
    for number, job in enumerate(jobs):
        story.tell("show.opened", f"JOB{number}", {"title": f"Job {number}"})
        story.tell("route.laid", f"JOB{number}", _route(job))
    _set_crews(story, jobs)
    items = []
    for number, job in enumerate(jobs):
        story.tell("episode.opened", f"JOB{number}-1", {"title": f"Job {number}"})
        items.append(f"JOB{number}-1/1")
        _list_scene(story, items[-1], job)
    return Shop(story, jobs, items)


def flow_shop(jobs: Sequence[Job]) -> Shop:
    """All jobs pass the machines in one order: the scenes of one episode."""
    story = round_the_clock()
    story.tell("show.opened", "FLOW", {"title": "Flow"})
    story.tell("route.laid", "FLOW", _route(jobs[0]))
    _set_crews(story, jobs)
    story.tell("episode.opened", "FLOW-1", {"title": "All jobs"})
    items = [f"FLOW-1/{number + 1}" for number in range(len(jobs))]
    for item, job in zip(items, jobs, strict=True):
        _list_scene(story, item, job)
    return Shop(story, jobs, items)


def check_non_delay(jobs: Sequence[Job], spans: Spans) -> None:
    """Fail unless every visit takes its minutes after those before it, no machine does two at a
    time, and none stands idle while a visit waits for it.
    """
    by_machine: dict[int, list[tuple[int, int]]] = {}
    for (_, machine), span in spans.items():
        by_machine.setdefault(machine, []).append(span)
    for machine, busy in by_machine.items():
        busy.sort()
        for (_, finish), (start, _) in pairwise(busy):
            assert finish <= start, f"machine {machine} does two visits at minute {start}"
    for job, steps in enumerate(jobs):
        arrived = 0
        for machine, minutes in steps:
            start, finish = spans[job, machine]
            assert finish - start == minutes, f"job {job} takes its time on machine {machine}"
            assert start >= arrived, f"job {job} is early on machine {machine}"
            waited = sum(
                max(0, min(until, start) - max(since, arrived))
                for since, until in by_machine[machine]
            )
            assert waited == start - arrived, f"machine {machine} stands idle before job {job}"
            arrived = finish


def bound(jobs: Sequence[Job]) -> int:
    """The longest job, or the machine whose work, least head and least tail are longest.

    No plan of these jobs, permutation or not, ends earlier.
    """
    needed = [sum(minutes for _, minutes in job) for job in jobs]
    for machine in {machine for job in jobs for machine, _ in job}:
        heads, own, tails = [], 0, []
        for job in jobs:
            at = next((n for n, step in enumerate(job) if step[0] == machine), None)
            if at is not None:
                heads.append(sum(minutes for _, minutes in job[:at]))
                own += job[at][1]
                tails.append(sum(minutes for _, minutes in job[at + 1 :]))
        needed.append(min(heads) + own + min(tails))
    return max(needed)
