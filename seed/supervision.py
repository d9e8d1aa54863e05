"""The supervisor's and the producer's mornings: holds, orders, changes of scenes, acceptance."""

from datetime import date
from random import Random

from seed import words
from seed.dates import wall_min, workdays_after
from seed.faults import Fates
from seed.floor import Floor
from seed.journal import DatedFact, Journal
from seed.scenario import EPISODES, PREVIEW, episode_subject
from service.production.state import State, visit_of
from service.production.takes import Phase

HOLD_CHANCE, FIRST_CHANCE, PRIORITY_CHANCE = 0.55, 0.75, 0.14
OMITTED_ON = (14, 19, 23, 28, 32, 37, 41, 46, 52)
RESTORED_ON = 31
RETIMED_EVERY = 4
"""Days of the record, counted from 0, on which scenes are omitted and restored."""
BUY_AFTER = 3
DELIVERED_MIN = 19 * 60 + 10


class Supervision:
    """What is held, what has been shot and is not yet bought."""

    def __init__(self, rng: Random, journal: Journal, floor: Floor, fates: Fates) -> None:
        self.rng = rng
        self.journal = journal
        self.floor = floor
        self.fates = fates
        self._held: list[tuple[date, str]] = []
        self._to_buy: dict[str, date] = {}
        self._omitted: list[str] = []

    def shot(self, scene: str, on: date) -> None:
        """A scene may be bought some days after it was last shot."""
        if not self.journal.state.scenes[scene].bought:
            self._to_buy[scene] = workdays_after(on, BUY_AFTER)

    def morning(self, on: date, day: int, called: list[str]) -> list[DatedFact]:
        """The supervisor's facts of a morning; what is `called` in it is not bought."""
        minute = wall_min(on, 7 * 60 + 32)
        facts = self._put_first(minute) + self._free(on, minute + 2)
        facts += self._hold(on, minute + 4) + self._change(day, minute + 6)
        return facts + self._buy(on, wall_min(on, 8 * 60 + 20), called)

    def settle(self, facts: list[DatedFact], now_min: int) -> None:
        """After the record took them: the floor looks again at what was touched."""
        for fact in facts:
            if fact.type in ("visit.put-first", "priority.set", "gate.set"):
                items = (fact.subject, *self._scenes_of(fact.subject))
                for node in (node for item in items for node in self.floor.nodes_of(item)):
                    self.floor.arrive(node, now_min)
            elif fact.type in ("scene.freed", "scene.omitted", "scene.restored"):
                self.floor.refresh_item(fact.subject, now_min)

    def priorities(self, on: date) -> list[DatedFact]:
        """What the producer wants sooner."""
        if on == PREVIEW.announced_on:
            gate = {"gate": "delivery", "due_on": str(PREVIEW.due_on), "hard": True}
            gate |= {"reason": "A preview for the broadcaster was agreed"}
            episode = episode_subject(EPISODES[PREVIEW.number].code)
            return [DatedFact(wall_min(on, 7 * 60 + 40), "gate.set", episode, gate)]
        if self.rng.random() >= PRIORITY_CHANCE:
            return []
        scenes = self._waiting("camera")
        if not scenes:
            return []
        data = {"priority": self.rng.choice((5, 10, 20))}
        scene = self.rng.choice(scenes)
        return [DatedFact(wall_min(on, 7 * 60 + 40), "priority.set", scene, data)]

    def delivered(self, on: date) -> list[DatedFact]:
        """Episodes whose every visit is handed off by the evening leave the studio."""
        facts = []
        state, out = self.journal.state, self.floor.out_min
        for name in self.journal.listed["episodes"]:
            episode = state.episodes[name]
            if episode.delivered_us >= 0 or not all(n in out for n in self.floor.nodes_of(name)):
                continue
            scenes = [scene for scene in episode.scenes if not state.scenes[scene].omitted]
            if all(node in out for scene in scenes for node in self.floor.nodes_of(scene)):
                facts.append(DatedFact(wall_min(on, DELIVERED_MIN), "episode.delivered", name, {}))
        return facts

    def _scenes_of(self, subject: str) -> tuple[str, ...]:
        episode = self.journal.state.episodes.get(subject)
        return episode.scenes if episode else ()

    def _waiting(self, department: str) -> list[str]:
        """Scenes timed and neither held nor omitted that have not begun at a department."""
        state, floor = self.journal.state, self.floor
        return [
            name
            for name in self.journal.listed["scenes"]
            if (name, "timing-and-sheets") in floor.out_min
            and state.scenes[name].hold is None
            and not state.scenes[name].omitted
            and department in state.scenes[name].departments
            and not _begun(state, name, department)
        ]

    def _put_first(self, at_min: int) -> list[DatedFact]:
        if self.rng.random() >= FIRST_CHANCE:
            return []
        department = self.rng.choice(("layout", "animation", "clean-up", "ink-and-paint", "camera"))
        tray = self.floor.in_tray(department)
        if len(tray) < 6:
            return []
        item = self.rng.choice(tray[5:])[0]
        return [DatedFact(at_min, "visit.put-first", item, {"department": department})]

    def _free(self, on: date, at_min: int) -> list[DatedFact]:
        due = [scene for until, scene in self._held if until <= on]
        self._held = [held for held in self._held if held[0] > on]
        return [
            DatedFact(at_min, "scene.freed", scene, {"why": "The answer came."})
            for scene in due
            if self.journal.state.scenes[scene].hold is not None
        ]

    def _hold(self, on: date, at_min: int) -> list[DatedFact]:
        scenes = self._waiting("camera") if self.rng.random() < HOLD_CHANCE else []
        if not scenes:
            return []
        scene = self.rng.choice(scenes)
        owes, why = self.rng.choice(words.HOLDS)
        by = self.rng.randint(2, 6)
        until = workdays_after(on, self.rng.randint(1, by + 1))
        self._held.append((until, scene))
        data = {"owes": owes, "by_on": str(workdays_after(on, by)), "why": why}
        return [DatedFact(at_min, "scene.held", scene, data)]

    def _change(self, day: int, at_min: int) -> list[DatedFact]:
        """Scenes that go out of the picture, come back, or change their length."""
        facts = []
        state = self.journal.state
        if day in OMITTED_ON:
            scenes = [name for name in self._waiting("camera") if name not in state.reusers]
            scene = self.rng.choice(scenes)
            self._omitted.append(scene)
            why = "Tightened: the scenes around it say it all."
            facts.append(DatedFact(at_min, "scene.omitted", scene, {"why": why}))
        if day == RESTORED_ON:
            why = "The cut does not read without it."
            facts.append(DatedFact(at_min, "scene.restored", self._omitted.pop(), {"why": why}))
        if day % RETIMED_EVERY == 0 and (scenes := self._waiting("animation")):
            facts.append(self._retime(self.rng.choice(scenes), at_min))
        return facts

    def _retime(self, scene: str, at_min: int) -> DatedFact:
        record = self.journal.state.scenes[scene]
        frames = max(16, record.frames + self.rng.choice((-12, -8, -6, 6, 8, 16)))
        data = {"frames": frames, "drawings": round(record.drawings * frames / record.frames)}
        return DatedFact(at_min, "scene.retimed", scene, data)

    def _buy(self, on: date, at_min: int, called: list[str]) -> list[DatedFact]:
        state, floor = self.journal.state, self.floor
        due = [scene for scene, buy_on in self._to_buy.items() if buy_on <= on]
        facts = []
        for scene in due:
            del self._to_buy[scene]
            record = state.scenes[scene]
            through = all(node in floor.out_min for node in floor.nodes_of(scene))
            if through and scene not in called and not record.bought and not self.fates.next(scene):
                facts.append(DatedFact(at_min, "scene.bought", scene, {}))
        return facts


def _begun(state: State, scene: str, department: str) -> bool:
    takes = visit_of(state, scene, department).takes
    return len(takes) > 1 or takes[0].phase is not Phase.WAITING
