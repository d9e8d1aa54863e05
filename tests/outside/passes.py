"""Scenes sent down a line of departments and back by chance, recorded as events by our own rules.

A pass is a take: started, handed off. After it the scene goes on to the next department, goes out
of the line at its end, or a retake is called on it, back to a department it has passed. It then
passes every department from there on again. What came of it is read from the folded state.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, NamedTuple

from service.production.state import visit_of
from service.production.takes import Phase
from service.production.work import work_of_take_e4
from service.vocabulary.event import Event
from tests.telling import OFFICE, SUPERVISOR, Story

FIRST_AT = datetime(2031, 3, 3, 8, tzinfo=UTC)
EPISODE = "KESTREL-1"

OUT = -1
"""Where a step leads that goes back from the first department: the scene leaves the picture."""

Step = Callable[[str, int], int]
"""Where a scene goes that has just passed the department of that place."""


class Desk(NamedTuple):
    """A department of the line, and the work of a whole scene there, in scenes."""

    name: str
    work: float = 1
    redo: str = "part"
    least: float = 0


class Passes(NamedTuple):
    """What became of the scenes: where each went, pass by pass, and what is on record of it."""

    story: Story
    desks: Sequence[Desk]
    went: dict[str, list[int]]

    def takes(self, scene: str) -> list[int]:
        """Takes handed off by department, from the folded state."""
        return [
            sum(take.phase is Phase.HANDED_OFF for take in visit.takes)
            for visit in (visit_of(self.story.state, scene, desk.name) for desk in self.desks)
        ]

    def work_e4(self, scene: str) -> list[int]:
        """Work of those takes by department, in ten-thousandths of a scene."""
        total = []
        state = self.story.state
        record = state.scenes[scene]
        for desk in self.desks:
            takes = visit_of(state, scene, desk.name).takes
            assert all(take.phase is Phase.HANDED_OFF for take in takes), (scene, desk.name)
            total.append(sum(work_of_take_e4(state, record, desk.name, take) for take in takes))
        return total

    def counted(self, scene: str) -> list[int]:
        """The same passes as the walk itself counts them."""
        counts = Counter(self.went[scene])
        return [counts[place] for place in range(len(self.desks))]

    def retakes_reaching(self, scene: str) -> list[int]:
        """Retakes that reach each department, again by the walk: it had been passed."""
        counts, far = [0] * len(self.desks), 0
        for place, to in pairwise(self.went[scene]):
            far = max(far, place)
            if to <= place:
                for department in range(to, far + 1):
                    counts[department] += 1
        return counts


def tell_passes(
    desks: Sequence[Desk], scenes: int, step: Step, share: float, first: int = 0
) -> Passes:
    """Record passes of scenes until none is under way any more.

    Those that begin at a later department than the first have one pass behind them at each before
    it, which the walk does not count. `step` gives the place a scene goes to from where it is: one
    further, that place or one before it, or `OUT`.
    """
    telling = Telling(desks, scenes, share)
    for place in range(first):
        telling.passed(dict.fromkeys(telling.went, place))
    under_way = dict.fromkeys(telling.went, first)
    while under_way:
        for scene, place in under_way.items():
            telling.went[scene].append(place)
        telling.passed(under_way)
        to = {scene: step(scene, place) for scene, place in under_way.items()}
        telling.called(
            {scene: to[scene] for scene, at in under_way.items() if 0 <= to[scene] <= at}
        )
        telling.omitted([scene for scene, place in to.items() if place == OUT])
        under_way = {scene: place for scene, place in to.items() if 0 <= place < len(desks)}
    return Passes(telling.story, desks, telling.went)


class Telling:
    """The events of one step of all scenes, a minute or two later than those of the last."""

    def __init__(self, desks: Sequence[Desk], scenes: int, share: float) -> None:
        self.desks = desks
        self.share = share
        self.story = Story()
        self._at = FIRST_AT
        self._calls = 0
        self.story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
        self.story.tell("route.laid", "KESTREL", route(desks))
        self.story.tell("episode.opened", EPISODE, {"title": "Number 1"})
        self.went: dict[str, list[int]] = {f"{EPISODE}/{k + 1}": [] for k in range(scenes)}
        listed = {"frames": 80, "drawings": 40, "work": {desk.name: desk.work for desk in desks}}
        self._record(*(("scene.listed", scene, listed) for scene in self.went))

    def passed(self, at: dict[str, int]) -> None:
        """Each scene is started and handed off where it is."""
        for type_ in ("work.started", "hand-off.made"):
            self._record(
                *((type_, scene, {"department": self.desks[k].name}) for scene, k in at.items())
            )

    def called(self, back_to: dict[str, int]) -> None:
        """A retake of each scene, back to the department of that place."""
        facts = []
        for scene, place in back_to.items():
            self._calls += 1
            code, department = f"R{self._calls}", self.desks[place].name
            facts.append(self.story.call_of(code, scene, department, "character", share=self.share))
        self._record(*facts)

    def omitted(self, scenes: Sequence[str]) -> None:
        """Scenes leave the picture."""
        self._record(*(("scene.omitted", scene, {}) for scene in scenes))

    def _record(self, *facts: tuple[str, str, dict[str, Any]]) -> None:
        """As one batch, in one minute."""
        if not facts:
            return
        self._at += timedelta(minutes=1)
        at = self._at.strftime("%Y-%m-%dT%H:%M:%SZ")
        before = len(self.story.events)
        events: list[Event] = [
            self.story.event(*fact, at=at, position=before + place)
            for place, fact in enumerate(facts, start=1)
        ]
        supervised = SUPERVISOR.role in events[0].fact.ROLES
        self.story.record(*events, actor=SUPERVISOR if supervised else OFFICE)


def route(desks: Sequence[Desk]) -> dict[str, Any]:
    """One department behind the other."""
    departments = [
        {
            "department": desk.name,
            "grain": "scene",
            "unit": "scenes",
            "redo": desk.redo,
            "least": desk.least,
            "follows": [{"department": before.name, "strands": ["character"]}] if before else [],
        }
        for desk, before in zip(desks, (None, *desks), strict=False)
    ]
    return {
        "departments": departments,
        "gates": [{"gate": "delivery", "department": desks[-1].name}],
    }
