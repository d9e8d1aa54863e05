"""The office's mornings: episodes opened, props and scenes listed, crews changed."""

from datetime import date
from random import Random

from seed import words
from seed.breakdown import UndatedFact, break_down, episode_models
from seed.dates import wall_min, workdays_after
from seed.journal import DatedFact, Journal
from seed.mistakes import Mistakes
from seed.opening import crew, episode_opening
from seed.scenario import CREW_CHANGES, EPISODES, SHOW, board_on, episode_subject, gate_dates

MODELS_AFTER, SCENES_AFTER = 6, 13
"""Working days from the start of a board until its props, then its scenes, are listed."""
OFFICE_MIN = 7 * 60 + 31
WRONG_GATE_ON, INSERTED_ON = 21, 38
"""Days of the record, counted from 0: a date mistyped; a scene put in between."""
INSERTED_IN, INSERTED_BEHIND, INSERTED = 7, "57", "57B"


class Office:
    """What is still to be listed."""

    def __init__(self, rng: Random, journal: Journal) -> None:
        self.rng = rng
        self.journal = journal
        self._models: dict[int, list[UndatedFact]] = {}
        self._broken_down: dict[int, None] = {}

    def morning(self, on: date, day: int, mistakes: Mistakes) -> list[DatedFact]:
        """The office's facts of a morning."""
        at_min = wall_min(on, OFFICE_MIN)
        facts = [
            crew(at_min, change.department, change.artists, change.from_on)
            for change in CREW_CHANGES
            if change.announced_on == on
        ]
        for number, episode in enumerate(EPISODES):
            begun_on = board_on(number)
            if begun_on <= on and episode_subject(episode.code) not in self.journal.state.episodes:
                facts += episode_opening(number, at_min + 1)
            if number not in self._models and workdays_after(begun_on, MODELS_AFTER) <= on:
                self._models[number] = episode_models(self.rng, episode, number)
                facts += [DatedFact(at_min + 2, *fact) for fact in self._models[number]]
            if number not in self._broken_down and workdays_after(begun_on, SCENES_AFTER) <= on:
                self._broken_down[number] = None
                breakdown = break_down(self.rng, episode, self._models[number])
                facts += [DatedFact(at_min + 3, *fact) for fact in breakdown.facts]
        if day == INSERTED_ON:
            facts += self._insert(at_min + 5)
        if day == WRONG_GATE_ON:
            facts.append(self._mistype(at_min + 6, mistakes, len(facts)))
        return facts

    def _insert(self, at_min: int) -> list[DatedFact]:
        """A scene put in between when the episode is already being drawn."""
        episode = episode_subject(EPISODES[INSERTED_IN].code)
        scene, behind = f"{episode}/{INSERTED}", f"{episode}/{INSERTED_BEHIND}"
        data = {"frames": 64, "drawings": 22, "levels": 1}
        return [
            DatedFact(at_min, "scene.listed", scene, data),
            DatedFact(at_min, "element.used", f"{SHOW}:model-{words.CAST[0]}", {"scenes": [scene]}),
            DatedFact(at_min, "hook-up.declared", behind, {"to": scene}),
        ]

    def _mistype(self, at_min: int, mistakes: Mistakes, before: int) -> DatedFact:
        """A date one week out; struck tomorrow, with the right one beside it."""
        number = 3
        subject = episode_subject(EPISODES[number].code)
        right = next(data for gate, data in gate_dates(number) if gate == "lock")
        wrong = {
            **right,
            "due_on": str(date.fromisoformat(right["due_on"]) - (board_on(1) - board_on(0))),
        }
        fact = DatedFact(at_min, "gate.set", subject, wrong)
        mistakes.remember_gate(self.journal.position + before + 1, fact._replace(data=right))
        return fact
