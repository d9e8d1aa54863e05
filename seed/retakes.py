"""Calls, and what becomes of them: looked at, withdrawn, bought as they are."""

from datetime import date
from random import Random
from typing import Any, NamedTuple

from seed.dates import wall_min, workdays_after
from seed.faults import CHECK, CLIENT, SCREENING, Call, Fates, call_for, users_shot
from seed.floor import Floor
from seed.journal import DatedFact, Journal
from service.production.state import Retake

EVENING_CALLS_MIN = 16 * 60 + 50
LOOK_MIN = 7 * 60 + 50
CALLS_MIN = 8 * 60 + 2
ENDS_MIN = 8 * 60 + 24
WITHDRAWN_SHARE, AS_IS_SHARE = 0.04, 0.035
REDO_SHARE = 0.15
NEW_ACTION_ON = (34, 49)
"""Days of the record, counted from 0, on which a scene is given new action and length."""
REPAINT_EVERY = 7
"""Working days between backgrounds that are painted again for all their scenes."""


class Due(NamedTuple):
    """Something about a retake that falls due on a date."""

    on: date
    retake: str
    subject: str
    type: str


class Retakes:
    """What is still to be screened, answered and ended."""

    def __init__(self, rng: Random, journal: Journal, floor: Floor, fates: Fates) -> None:
        self.rng = rng
        self.journal = journal
        self.floor = floor
        self.fates = fates
        self._number = 0
        self._to_screen: list[tuple[date, str, str]] = []
        self._due: list[Due] = []
        self._repainted: dict[str, None] = {}

    def shot(self, scene: str, on: date) -> None:
        """A scene was shot: it is screened the next morning or the one after."""
        if self.fates.next(scene) == SCREENING:
            days = self.rng.choices((1, 2), (75, 25))[0]
            self._to_screen.append((workdays_after(on, days), scene, SCREENING))

    def cut(self, episode: str, on: date) -> None:
        """An episode was cut: client and broadcaster see it the next working day."""
        for scene in self.journal.state.episodes[episode].scenes:
            if self.fates.next(scene) == CLIENT:
                self._to_screen.append((workdays_after(on, 1), scene, CLIENT))

    def corrections(self, scenes: list[str], on: date) -> list[DatedFact]:
        """Evening: what check has pulled goes back."""
        facts = []
        for place, scene in enumerate(scenes):
            self.fates.found(scene)
            call = call_for(self.rng, self.journal.state, scene, CHECK)
            if call is None:
                raise LookupError(scene)
            facts.append(self.call(call, wall_min(on, EVENING_CALLS_MIN + place)))
        return facts

    def morning(self, on: date, day: int) -> list[DatedFact]:
        """Answers, calls from yesterday's film, and calls that end."""
        facts = self._answers(on)
        calls = self._screened(on)
        if day in NEW_ACTION_ON:
            facts += self._new_action(wall_min(on, CALLS_MIN - 1))
        if day % REPAINT_EVERY == REPAINT_EVERY - 1:
            calls += self._repaint()
        for place, call in enumerate(calls):
            facts.append(self.call(call, wall_min(on, CALLS_MIN + min(place, 20))))
        return facts + self._ends(on)

    def call(self, call: Call, at_min: int) -> DatedFact:
        """A call under the next code."""
        self._number += 1
        data = {"retake": f"R{self._number:04d}", **call.data}
        return DatedFact(at_min, "retake.called", call.subject, data)

    def beside(self, meant: DatedFact) -> DatedFact | None:
        """The same call on a scene beside, as if the wrong number had been typed."""
        state = self.journal.state
        scene = state.scenes.get(meant.subject)
        others = state.episodes[scene.episode].scenes if scene else ()
        self._number += 1
        data = {**meant.data, "retake": f"R{self._number:04d}"}
        for other in others:
            wrong = meant._replace(subject=other, data=data)
            if other != meant.subject and self.journal.would_accept("supervisor", wrong):
                return wrong
        return None

    def settle(self, facts: list[DatedFact], on: date, now_min: int) -> None:
        """After the record took them: desks are freed or fed, and what follows falls due."""
        for fact in facts:
            code = fact.data.get("retake", "")
            retake = self.journal.state.retakes.get(code)
            if retake is None:
                continue
            self.floor.refresh([step.node for step in retake.reach], now_min)
            if fact.type == "retake.called":
                self._follow(code, retake, on)

    def _follow(self, code: str, retake: Retake, on: date) -> None:
        for look in retake.look_at:
            if self.rng.random() < 0.92:
                days = self.rng.choice((1, 1, 1, 2, 3))
                self._due.append(Due(workdays_after(on, days), code, look.scene, "look"))
        chance = self.rng.random()
        if chance < WITHDRAWN_SHARE:
            end = "retake.withdrawn"
        elif chance < WITHDRAWN_SHARE + AS_IS_SHARE and retake.urgency != "must-fix":
            end = "retake.bought-as-is"
        else:
            return
        self._due.append(Due(workdays_after(on, 1), code, retake.subject, end))

    def _screened(self, on: date) -> list[Call]:
        seen = [due for due in self._to_screen if due[0] <= on]
        self._to_screen = [due for due in self._to_screen if due[0] > on]
        calls = []
        for _, scene, found_at in seen:
            record = self.journal.state.scenes[scene]
            if self.fates.next(scene) != found_at:
                continue
            self.fates.found(scene)
            delivered = self.journal.state.episodes[record.episode].delivered_us >= 0
            if delivered or record.omitted:
                continue
            call = call_for(self.rng, self.journal.state, scene, found_at)
            if call is not None:
                calls.append(call)
        return calls

    def _repaint(self) -> list[Call]:
        """A background that several shot scenes use is painted again."""
        state = self.journal.state
        able = [
            (name, users)
            for name in self.journal.listed["elements"]
            if state.elements[name].kind == "background" and name not in self._repainted
            for users in [users_shot(state, name)]
            if len(users) >= 2
        ]
        if not able:
            return []
        name, users = self.rng.choice(able[-40:])
        self._repainted[name] = None
        data: dict[str, Any] = {
            "kind": self.rng.choice(("retake", "revision")),
            "urgency": self.rng.choice(("must-fix", "should-fix")),
            "back_to": "background",
            "strands": ["background"],
            "share": self.rng.choice((0.3, 0.4, 0.6)),
            "found_at": SCREENING,
            "fault_of": "background",
            "asked_by": self.rng.choice(("studio", "client")),
            "why": "The light comes from the wrong side in the whole place.",
        }
        if len(users) > 2:
            marks = ("look-at", "leave")
            data["dependents"] = [
                {"scene": scene, "mark": mark}
                for scene, mark in zip(users[1:3], marks, strict=False)
            ]
        return [Call(name, data)]

    def _new_action(self, at_min: int) -> list[DatedFact]:
        """A scene already animated is timed anew: all its strands go back."""
        floor, state = self.floor, self.journal.state
        scenes = [
            name
            for name in self.journal.listed["scenes"]
            if (name, "animation") in floor.out_min
            and (name, "camera") not in floor.out_min
            and not state.scenes[name].omitted
        ]
        if not scenes:
            return []
        scene = self.rng.choice(scenes)
        record = state.scenes[scene]
        longer = {"frames": record.frames + 32, "drawings": record.drawings + 10}
        data = {
            "kind": "revision",
            "urgency": "should-fix",
            "back_to": "timing-and-sheets",
            "strands": ["background", "character", "sound"],
            "share": 0.4,
            "asked_by": "client",
            "why": "New business at the end: the gull steals the letter.",
        }
        retimed = DatedFact(at_min, "scene.retimed", scene, longer)
        return [retimed, self.call(Call(scene, data), at_min)]

    def _answers(self, on: date) -> list[DatedFact]:
        facts: list[DatedFact] = []
        for due in self._take_due(on, ("look",)):
            retake = self.journal.state.retakes.get(due.retake)
            looks = retake.look_at if retake and retake.standing == "standing" else ()
            if not any(look.scene == due.subject and not look.answer for look in looks):
                continue
            at_min = wall_min(on, LOOK_MIN + min(len(facts), 10))
            data = {"retake": due.retake, "answer": "redo"}
            fact = DatedFact(at_min, "look-at.answered", due.subject, data)
            redo = self.rng.random() < REDO_SHARE
            if not redo or not self.journal.would_accept("supervisor", fact):
                fact = fact._replace(data={**data, "answer": "fine"})
            facts.append(fact)
        return facts

    def _ends(self, on: date) -> list[DatedFact]:
        why = {
            "retake.withdrawn": "Looked at again on the bench: not worth the paint.",
            "retake.bought-as-is": "Nobody will see it; the date matters more.",
        }
        return [
            DatedFact(
                wall_min(on, ENDS_MIN), due.type, due.subject,
                {"retake": due.retake, "why": why[due.type]},
            )
            for due in self._take_due(on, tuple(why))
            if due.retake in self.journal.state.retakes
        ]  # fmt: skip

    def _take_due(self, on: date, types: tuple[str, ...]) -> list[Due]:
        taken = [due for due in self._due if due.type in types and due.on <= on]
        self._due = [due for due in self._due if due not in taken]
        return taken
