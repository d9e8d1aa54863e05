"""Studios at random from a seed, as the facts recorded: a route laid, crews set, scenes listed.

A show of a few episodes is at work: boards handed off, some scenes half way down the line, some on
desks, some held, one department stopped. Invented; everything happens within a few days.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, NamedTuple

SHOW = "HERON"
TRADES = ("layout", "background", "animation", "clean-up", "paint", "camera")
ALL = ["background", "character", "sound"]
WEEK = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
ZONES = ("UTC", "Europe/Lisbon", "America/New_York", "Asia/Kolkata")
NUMBERS = ("1", "2", "9", "10", "10A", "10B", "11", "100")


class Fact(NamedTuple):
    """One fact as it is posted."""

    type: str
    subject: str
    data: dict[str, Any]
    at: datetime


@dataclass
class Studio:
    """Facts in order of position, and the moment at which the plan is asked for."""

    now: datetime
    facts: list[Fact] = field(default_factory=list)

    def tell(self, type_: str, subject: str, at: datetime, **data: Any) -> None:
        self.facts.append(Fact(type_, subject, data, at))


def on(moment: datetime, days: int) -> str:
    return (moment.date() + timedelta(days=days)).isoformat()


class StudioBuilder:
    """Makes the facts of one studio; `random` decides whatever is open."""

    def __init__(self, seed: int, *, around_the_clock: bool) -> None:
        self.random = Random(seed)
        self.around_the_clock = around_the_clock
        # the clocks change in New York on 9 March 2031 and in Lisbon on 30 March
        day = datetime(2031, 3, self.random.choice([6, 7, 12, 26, 27, 28]), tzinfo=UTC)
        self.studio = Studio(day + timedelta(seconds=self.random.randrange(24 * 60 * 60)))
        self.opened = day - timedelta(days=20)
        self.scene_departments = TRADES[: self.random.randint(3, len(TRADES))]
        self.follows: dict[str, list[str]] = {}
        self.scenes: list[str] = []
        self.episodes: list[str] = []
        self.elements: dict[str, list[str]] = {}
        self.replaced: dict[str, str] = {}  # of a scene, the department an element spares it
        self.spared = self.random.choice([None, *self.scene_departments[1:-1]])

    def build(self) -> Studio:
        self.the_office()
        self.the_list()
        self.the_orders()
        self.the_past()
        self.the_orders()
        self.the_day()
        return self.studio

    def chance(self, of_one: float) -> bool:
        return self.random.random() < of_one

    def ago(self, minutes: int) -> datetime:
        return self.studio.now - timedelta(minutes=minutes)

    # --- what the office says ----------------------------------------------------------------

    def the_office(self) -> None:
        self.studio.tell("show.opened", SHOW, self.opened, title="Heron")
        self.studio.tell(
            "route.laid",
            SHOW,
            self.opened,
            departments=self.departments(),
            kinds=self.kinds(),
            gates=[{"gate": "delivery", "department": "mix"}],
        )
        self.calendars()
        for department in ("board", *self.scene_departments, "design", "cutting", "mix"):
            self.crews(department)

    def departments(self) -> list[dict[str, Any]]:
        """A board, scene departments that split and join, cutting behind all of them, a mix."""
        listed = [entry("board", "episode", "episodes", [])]
        for number, name in enumerate(self.scene_departments):
            earlier = self.scene_departments[:number]
            count = min(number, self.random.choice([1, 1, 2]))
            self.follows[name] = self.random.sample(earlier, count) if earlier else ["board"]
            unit = self.random.choice(["scenes", "drawings", "feet", "paintings"])
            part = self.random.choice([1, 0.5, 0.3333])
            redo = self.random.choice(["part", "part", "whole"])
            more = {"drawings_part": part, "redo": redo, "least": self.random.choice([0, 0.25])}
            listed.append(entry(name, "scene", unit, self.follows[name], **more))
        followed = {before for befores in self.follows.values() for before in befores}
        last = [name for name in self.scene_departments if name not in followed]
        listed.append(entry("cutting", "episode", "episodes", last))
        listed.append(entry("mix", "episode", "feet", ["cutting"]))
        listed.append(entry("design", "element", "drawings", []))
        self.follows |= {"cutting": last, "mix": ["cutting"]}
        return listed

    def kinds(self) -> list[dict[str, Any]]:
        """Sheets feed any department; what is painted once spares its scenes a department."""
        sheet = {
            "kind": "sheet",
            "departments": ["design"],
            "feeds": self.random.choice(self.scene_departments),
            "strand": "character",
        }
        if self.spared is None:
            return [sheet]
        painted = {
            "kind": "painted",
            "departments": ["design", self.spared],
            "feeds": self.scene_departments[-1],
            "strand": "background",
            "replaces": [self.spared],
        }
        return [sheet, painted]

    def calendars(self) -> None:
        zone = self.random.choice(ZONES)
        start = on(self.opened, -30)
        if self.around_the_clock:
            always = {"days": WEEK, "opens": "00:00", "closes": "00:00"}
            self.studio.tell(
                "calendar.set", "studio", self.opened, from_on=start, zone=zone, shifts=[always]
            )
            return
        self.calendar(start, zone=zone)
        if self.chance(0.4):  # other hours from a day in the middle of the plan
            self.calendar(on(self.studio.now, self.random.randint(0, 2)))
        for department in self.random.sample(self.scene_departments, 2):
            night = {"days": WEEK[:6], "opens": "20:30", "closes": "04:15"}
            self.calendar(start, department=department, shifts=[night] if self.chance(0.5) else [])

    def calendar(self, from_on: str, **more: Any) -> None:
        opens, noon = self.random.choice([8, 9, 10]), self.random.choice([12, 13])
        closes = self.random.choice([16, 18])
        morning = {"days": WEEK[:5], "opens": f"{opens:02}:00", "closes": f"{noon:02}:15"}
        afternoon = {"days": WEEK[:4], "opens": f"{noon + 1:02}:00", "closes": f"{closes}:30"}
        weekend = {"days": WEEK[5:], "opens": "10:00", "closes": "12:00"}
        shifts = more.pop("shifts", []) or [morning, afternoon, *[weekend] * self.chance(0.3)]
        days_off = [on(self.studio.now, day) for day in self.random.sample(range(-4, 6), 3)]
        self.studio.tell(
            "calendar.set",
            "studio",
            self.opened,
            from_on=from_on,
            shifts=shifts,
            days_off=days_off,
            **more,
        )

    def crews(self, department: str) -> None:
        """A crew that may shrink, vanish for a day or grow while the plan runs."""
        self.crew(department, on(self.opened, -30), self.random.randint(1, 4))
        for day in sorted(self.random.sample(range(-2, 5), self.random.choice([0, 1, 2]))):
            self.crew(department, on(self.studio.now, day), self.random.choice([0, 1, 1, 2, 6]))
        self.crew(department, on(self.studio.now, 6), self.random.randint(1, 40))

    def crew(self, department: str, from_on: str, artists: int) -> None:
        self.studio.tell(
            "crew.set",
            "studio",
            self.opened,
            department=department,
            artists=artists,
            units_per_artist_day=self.random.choice([6.5, 8, 20, 33.3333]),
            minutes_per_artist_day=self.random.choice([420, 480]),
            from_on=from_on,
        )

    # --- what is to be made --------------------------------------------------------------------

    def the_list(self) -> None:
        dues = self.random.sample(range(10, 14), 2)  # few, so that many fall due together
        for number in self.random.sample(["1", "2", "3", "10"], self.random.randint(2, 3)):
            episode = f"{SHOW}-{number}"
            self.episodes.append(episode)
            work = {"mix": self.random.choice([1, 2])}
            self.studio.tell("episode.opened", episode, self.opened, title=number, work=work)
            for due in dues[: self.random.choice([0, 1, 1, 1, 2])]:
                self.studio.tell(
                    "gate.set",
                    episode,
                    self.opened,
                    gate="delivery",
                    due_on=on(self.studio.now, due),
                )
            self.list_scenes(episode)
        for name in ("E1", "E2", "E10", "E3")[: self.random.randint(0, 4)]:
            self.list_element(f"{SHOW}:{name}")

    def list_scenes(self, episode: str) -> None:
        for number in self.random.sample(NUMBERS, self.random.randint(2, 6)):
            scene = f"{episode}/{number}"
            self.scenes.append(scene)
            data: dict[str, Any] = {"frames": self.random.randint(20, 60)}
            data["drawings"] = self.random.randint(0, 6)
            if self.chance(0.3):
                data["work"] = {self.random.choice(self.scene_departments): 1.2345}
            if self.chance(0.3):
                data["difficulty"] = {self.random.choice(self.scene_departments): 1.5}
            self.studio.tell("scene.listed", scene, self.opened, **data)

    def list_element(self, element: str) -> None:
        kind = "painted" if self.spared and self.chance(0.6) else "sheet"
        self.studio.tell(
            "element.listed", element, self.opened, kind=kind, drawings=self.random.randint(1, 6)
        )
        users = [scene for scene in self.scenes if scene not in self.replaced]
        used = self.random.sample(users, min(len(users), self.random.randint(0, 3)))
        self.elements[element] = ["design"] if kind == "sheet" else ["design", str(self.spared)]
        if used:
            self.studio.tell("element.used", element, self.opened, scenes=used)
        if kind == "painted" and self.spared:
            self.replaced |= dict.fromkeys(used, self.spared)

    # --- orders, what has been done, what is in the way ------------------------------------------

    def visits_of(self, scene: str) -> list[str]:
        return [name for name in self.scene_departments if name != self.replaced.get(scene)]

    def the_orders(self) -> None:
        """Priorities, and visits put first; recorded before and after what has been done."""
        at = self.studio.facts[-1].at
        for item in self.random.sample([*self.scenes, *self.elements, *self.episodes], 2):
            priority = self.random.choice([-1, 1, 1, 2])
            self.studio.tell("priority.set", item, at, priority=priority)
        begun = {
            (fact.subject, fact.data["department"])
            for fact in self.studio.facts
            if fact.type in ("work.started", "hand-off.made")
        }
        for scene in self.random.sample(self.scenes, 3):
            department = self.random.choice(self.visits_of(scene))
            if (scene, department) not in begun:
                self.studio.tell("visit.put-first", scene, at, department=department)

    def the_past(self) -> None:
        """Boards are handed off; most scenes are on their way, a visit of some on a desk."""
        for number, episode in enumerate(self.episodes):
            if number == 0 or self.chance(0.8):
                self.pass_on(episode, "board", 3000, 2900)
        for element, departments in self.elements.items():
            if self.chance(0.4):
                self.pass_on(element, departments[0], 2600, 2500)
        for scene in self.random.sample(self.scenes, len(self.scenes) * 2 // 3):
            self.pass_down(scene)

    def pass_down(self, scene: str) -> None:
        minutes, departments = 2400, self.visits_of(scene)
        done = self.random.choice([0, 1, 1, self.random.randint(1, len(departments) - 1)])
        for department in departments[:done]:
            self.pass_on(scene, department, minutes, minutes - 100)
            minutes -= 200
        if self.chance(0.3):
            started = self.random.choice([minutes, 90, 20, 1])
            self.studio.tell("work.started", scene, self.ago(started), department=departments[done])
        elif done and self.chance(0.9):
            self.call(scene, departments[done - 1])

    def pass_on(self, item: str, department: str, started: int, ended: int) -> None:
        self.studio.tell("work.started", item, self.ago(started), department=department)
        self.studio.tell("hand-off.made", item, self.ago(ended), department=department)

    def call(self, scene: str, department: str) -> None:
        """A retake of the last visit that was handed off: nothing behind it has begun."""
        self.studio.tell(
            "retake.called",
            scene,
            self.ago(60),
            retake=f"R{len(self.studio.facts)}",
            kind="correction",
            urgency=self.random.choice(["must-fix", "must-fix", "should-fix", "if-time"]),
            back_to=department,
            strands=ALL,
            share=self.random.choice([0.1, 0.5, 1]),
        )

    def the_day(self) -> None:
        """Stoppages that are over, that last and that are overdue; holds; what falls away."""
        if not self.around_the_clock:
            for department in self.random.sample(self.scene_departments, 2):
                self.stop(department)
        for scene in self.random.sample(self.scenes, 2):
            by_on = on(self.studio.now, self.random.choice([-2, 0, 1, 2]))
            self.studio.tell("scene.held", scene, self.ago(45), owes="client", by_on=by_on)
            if self.chance(0.3):
                self.studio.tell("scene.freed", scene, self.ago(30))
        if self.chance(0.3):
            self.studio.tell("scene.omitted", self.random.choice(self.scenes), self.ago(0))
        if self.chance(0.2):
            self.studio.tell("episode.delivered", self.episodes[-1], self.ago(0))

    def stop(self, department: str) -> None:
        if self.chance(0.5):
            self.stopped(department, 1500, 1490)
            self.studio.tell("department.resumed", "studio", self.ago(1400), department=department)
        if self.chance(0.7):
            self.stopped(department, 240, self.random.choice([60, -60, -600, -1500]))

    def stopped(self, department: str, begun: int, expected: int) -> None:
        self.studio.tell(
            "department.stopped",
            "studio",
            self.ago(begun),
            department=department,
            expected_end_at=f"{self.ago(expected):%Y-%m-%dT%H:%M:%SZ}",
        )


def entry(name: str, grain: str, unit: str, follows: Sequence[str], **more: Any) -> dict[str, Any]:
    arcs = [{"department": before, "strands": ALL} for before in follows]
    return {"department": name, "grain": grain, "unit": unit, "follows": arcs, **more}
