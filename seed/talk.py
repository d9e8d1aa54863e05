"""Notes from desk to desk, and their answers."""

from datetime import date
from random import Random

from seed import words
from seed.dates import wall_min, workdays_after
from seed.journal import DatedFact

NOTES_PER_TOLD = 0.028
ANSWERED_SHARE = 0.93
_TO = {
    "layout": ("storyboard", "timing-and-sheets"),
    "background": ("layout",),
    "animation": ("layout", "timing-and-sheets"),
    "clean-up": ("animation",),
    "in-between": ("clean-up", "animation"),
    "ink-and-paint": ("in-between", "clean-up"),
    "animation-check": ("ink-and-paint", "animation", "in-between"),
    "camera": ("animation-check", "ink-and-paint", "background"),
    "cutting": ("camera",),
    "mix": ("cutting",),
}


class Talk:
    """Notes that wait for an answer."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self._number = 0
        self._waiting: list[tuple[date, str, str, str]] = []

    def at_desk(self, department: str, facts: list[DatedFact], on: date) -> list[DatedFact]:
        """A desk's notes about what it has on hand today, and its answers."""
        notes = []
        for fact in facts if department in _TO else ():
            if self.rng.random() < NOTES_PER_TOLD and fact.type == "work.started":
                to = self.rng.choice(_TO[department])
                at_min = fact.at_min + self.rng.randint(1, 9)
                notes.append(self._note(at_min, fact.subject, to, on, department))
        return notes + self._answers(department, on)

    def from_supervision(self, scenes: list[str], on: date) -> list[DatedFact]:
        """What the supervisor wrote after the morning's film."""
        facts = []
        for place, scene in enumerate(scenes):
            to = self.rng.choice(("animation", "camera", "ink-and-paint", "cutting"))
            facts.append(self._note(wall_min(on, 7 * 60 + 46 + place), scene, to, on))
        return facts

    def _note(
        self, at_min: int, item: str, to: str, on: date, department: str | None = None
    ) -> DatedFact:
        self._number += 1
        code = f"N{self._number:05d}"
        if self.rng.random() < ANSWERED_SHARE:
            self._waiting.append((workdays_after(on, self.rng.randint(1, 4)), to, code, item))
        data = {"note": code, "to": to, "text": self.rng.choice(words.NOTES[to])}
        if department:
            data["department"] = department
        return DatedFact(at_min, "note.given", item, data)

    def _answers(self, department: str, on: date) -> list[DatedFact]:
        due = [note for note in self._waiting if note[0] <= on and note[1] == department]
        self._waiting = [note for note in self._waiting if note not in due]
        return [
            DatedFact(
                wall_min(on, 8 * 60 + 35 + self.rng.randint(0, 25)),
                "note.answered",
                item,
                {"note": code, "department": department, "text": self.rng.choice(words.ANSWERS)},
            )
            for _, _, code, item in due
        ]
