"""Props that the broadcaster must approve: asked about once they are drawn, answered days later."""

from datetime import date
from random import Random

from seed.dates import wall_min, workdays_after
from seed.journal import DatedFact, Journal
from seed.scenario import CODES, EPISODES, SHOW
from service.production.approval import approval_standing

ASK_MIN, ANSWER_MIN = 7 * 60 + 36, 7 * 60 + 44
ANSWER_DAYS = (2, 3, 3, 3, 4)
REFUSED_OF = 5
"""Of which episode (0 is the first) the first prop asked about is refused."""
REDONE_MIN = (9 * 60 + 5, 15 * 60 + 20)
OPEN_OF = len(EPISODES) - 1
"""Of which episode the last prop asked about is not answered any more."""


class Approvals:
    """What was asked, and when it will be answered.

    The broadcaster sees props before the scenes are listed that use them, so that the desks never
    wait: what was drawn on the strength of a refused one, nobody has begun.
    """

    def __init__(self, rng: Random, journal: Journal) -> None:
        self.rng = rng
        self.journal = journal
        self._due: dict[str, date] = {}
        self._refused = ""
        self._redone_on: date | None = None
        self._requested: dict[str, None] = {}

    def requests(self, on: date) -> list[DatedFact]:
        """Props drawn by yesterday evening, as the office shows them in the morning."""
        facts = []
        state = self.journal.state
        for name in self.journal.listed["elements"]:
            if approval_standing(state, name, state.elements[name]) != "to_ask":
                continue
            self._due[name] = workdays_after(on, self.rng.choice(ANSWER_DAYS))
            self._requested[name] = None
            facts.append(
                DatedFact(wall_min(on, ASK_MIN), "approval.asked", name, {"of": "broadcaster"})
            )
        return facts

    def answers(self, on: date) -> list[DatedFact]:
        """What the broadcaster says, as the producer passes it on."""
        due = [name for name, answer_on in self._due.items() if answer_on <= on]
        facts = []
        for name in due:
            if self._stays_open(name):
                continue
            del self._due[name]
            at_min = wall_min(on, ANSWER_MIN)
            if not self._refused and _of(name, REFUSED_OF):
                self._refused, self._redone_on = name, workdays_after(on, 1)
                data = {
                    "by": "broadcaster",
                    "share": 0.5,
                    "retake": f"A-{name.partition(':')[2]}",
                    "why": "It looks like a toy that is on sale; it must look home-made.",
                }
                facts.append(DatedFact(at_min, "approval.refused", name, data))
            else:
                facts.append(DatedFact(at_min, "approval.given", name, {"by": "broadcaster"}))
        return facts

    def redone(self, on: date) -> list[DatedFact]:
        """What design tells on the day on which it draws the refused prop again."""
        if on != self._redone_on:
            return []
        begun_min, done_min = (wall_min(on, minute) for minute in REDONE_MIN)
        data = {"department": "design"}
        artist = f"{CODES['design']}-02"
        return [
            DatedFact(begun_min, "work.started", self._refused, {**data, "artist": artist}),
            DatedFact(done_min, "hand-off.made", self._refused, data),
        ]

    def _stays_open(self, name: str) -> bool:
        """Whether it is the last of the last episode's, whose answer does not come any more."""
        of_last = [other for other in self._requested if _of(other, OPEN_OF)]
        return bool(of_last) and name == of_last[-1]


def _of(name: str, number: int) -> bool:
    return name.startswith(f"{SHOW}:model-{EPISODES[number].code}-")
