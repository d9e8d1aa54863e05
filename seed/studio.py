"""The demo studio's three months: every working day a morning and an evening of posts."""

from collections.abc import Iterator
from datetime import date
from random import Random

from seed.approvals import Approvals
from seed.dates import recorded_dates, wall_min
from seed.faults import CHECK, Fates
from seed.floor import Floor
from seed.journal import DatedFact, Day, Journal
from seed.mistakes import Mistakes, Wrong
from seed.office import Office
from seed.opening import desks_opening, hours_span, office_opening
from seed.orders import Orders
from seed.retakes import Retakes
from seed.scenario import DEPARTMENTS, EVENING_MIN, FINAL_ON, FIRST_ON, MORNING_MIN, STOP
from seed.shift import Shift
from seed.supervision import Supervision
from seed.talk import Talk
from service.vocabulary.instants import format_min

OPENED_MIN = 7 * 60 + 28
WRONG_CALL_ON = (36, 52)
"""Days of the record, counted from 0, on which a correction is called on the wrong scene."""


class Studio:
    """The scenario at work."""

    def __init__(self, seed: int) -> None:
        def stream(name: str) -> Random:
            # a stream for each concern, so that a change to one leaves the others as they were
            return Random(f"{seed} {name}")  # noqa: S311 - a scenario, not a secret

        self.journal = Journal()
        self._days = len(recorded_dates())
        self.floor = Floor(stream("desks"), self.journal)
        self.fates = Fates(stream("fates"))
        self.office = Office(stream("office"), self.journal)
        self.shift = Shift(self.floor, lambda scene: self.fates.next(scene) == CHECK)
        self.retakes = Retakes(stream("retakes"), self.journal, self.floor, self.fates)
        self.supervision = Supervision(stream("supervision"), self.journal, self.floor, self.fates)
        self.orders = Orders(self.journal, self.floor)
        self.talk = Talk(stream("talk"))
        self.mistakes = Mistakes(stream("mistakes"), self.floor)
        self.approvals = Approvals(stream("approvals"), self.journal)

    def run(self) -> Iterator[Day]:
        """All days in order; the last one is the morning of the final retake."""
        yield self._open()
        dates = recorded_dates()
        for day, on in enumerate(dates):
            yield self._morning(on, day)
            yield self._evening(on, day)
        yield self._morning(FINAL_ON, len(dates))

    def _open(self) -> Day:
        now_min = wall_min(FIRST_ON, OPENED_MIN)
        self.journal.move_clock(now_min)
        self.journal.post("office", office_opening())
        for department, facts in desks_opening().items():
            self.journal.post(department, facts)
        stop = (wall_min(STOP.on, STOP.at_min), wall_min(STOP.resumed_on, STOP.resumed_at_min))
        self.floor.set_hours(*hours_span(), {STOP.department: stop})
        self._learn(now_min)
        return self.journal.take_day()

    def _learn(self, now_min: int) -> None:
        """Let the floor and the fates know of what the office has listed."""
        items = self.journal.take_listed()
        self.floor.learn(items, now_min)
        for item in items:
            scene = self.journal.state.scenes.get(item)
            if scene is not None:
                self.fates.draw(item, CHECK in scene.departments)

    def _morning(self, on: date, day: int) -> Day:
        now_min = wall_min(on, MORNING_MIN)
        self.journal.move_clock(now_min)
        self._correct_the_record(on, now_min)
        office = self.office.morning(on, day, self.mistakes)
        if office:
            self.journal.post("office", office)
            self._learn(now_min)
        self._post("office", self.approvals.requests(on))
        retakes = self.retakes.morning(on, day)
        called = [fact.subject for fact in retakes if fact.type == "retake.called"]
        notes = self.talk.from_supervision(called[::6], on)
        orders = self.supervision.morning(on, day, called)
        facts = retakes + orders + notes
        if facts:
            self.journal.post("supervisor", facts)
        self.retakes.settle(retakes, on, now_min)
        self.supervision.settle(orders, now_min)
        wishes = self.supervision.priorities(on)
        if wishes:
            self.journal.post("producer", wishes)
            self.supervision.settle(wishes, now_min)
        self._post("producer", self.approvals.answers(on))
        self.orders.morning(on, self._days - day)
        return self.journal.take_day()

    def _post(self, role: str, facts: list[DatedFact]) -> None:
        if facts:
            self.journal.post(role, facts)

    def _correct_the_record(self, on: date, now_min: int) -> None:
        """What was forgotten yesterday is posted, what was wrong is struck."""
        by_role, nodes = self.mistakes.morning(on)
        for role, facts in by_role.items():
            self.journal.post(role, facts)
            nodes += [
                (fact.subject, fact.data["department"])
                for fact in facts
                if "department" in fact.data
            ]
            self.retakes.settle([f for f in facts if f.type == "retake.called"], on, now_min)
        self.floor.refresh(nodes, now_min)

    def _evening(self, on: date, day: int) -> Day:
        now_min = wall_min(on, EVENING_MIN)
        self.journal.move_clock(now_min)
        for department in DEPARTMENTS:
            self._desks(department, on, day)
        pulled, self.shift.pulled = self.shift.pulled, []
        self._corrections(pulled, on, day, now_min)
        for item, department in self.shift.finished:
            if department == "camera":
                self.retakes.shot(item, on)
                self.supervision.shot(item, on)
            elif department == "cutting":
                self.retakes.cut(item, on)
        self.floor.refresh(self.shift.sent_back, now_min)
        self.shift.end_day()
        delivered = self.supervision.delivered(on)
        if delivered:
            self.journal.post("producer", delivered)
        return self.journal.take_day()

    def _desks(self, department: str, on: date, day: int) -> None:
        """A department's day, with what it has to say, less what it forgets."""
        facts = self.shift.work(department, wall_min(on, 0), wall_min(on, EVENING_MIN))
        facts += _stoppage(department, on)
        facts, forgotten = self.mistakes.keep_back(department, facts)
        self.shift.unposted.update(dict.fromkeys(forgotten))
        facts += self.talk.at_desk(department, facts, on)
        slip = self.mistakes.slip(department, day, on)
        if slip is not None:
            facts.append(slip.fact)
        if department == "design":
            facts += self.approvals.redone(on)
        if not facts:
            return
        positions = self.journal.post(department, facts)
        if slip is not None:
            position = positions[facts.index(slip.fact)]
            self.mistakes.remember(Wrong(department, position, slip.why, slip.instead))

    def _corrections(self, pulled: list[str], on: date, day: int, now_min: int) -> None:
        facts = self.retakes.corrections(pulled, on)
        if not facts:
            return
        meant = facts[0]
        wrong = self.retakes.beside(meant) if day in WRONG_CALL_ON else None
        if wrong is not None:
            facts[0] = wrong
        positions = self.journal.post("supervisor", facts)
        self.retakes.settle(facts, on, now_min)
        if wrong is not None:
            reach = self.journal.state.retakes[wrong.data["retake"]].reach
            nodes = tuple(step.node for step in reach)
            self.mistakes.remember_call(positions[0], meant, nodes)


def _stoppage(department: str, on: date) -> list[DatedFact]:
    """The stoppage, as the department tells of it on its first and its last day."""
    if department != STOP.department:
        return []
    facts = []
    if on == STOP.on:
        data = {
            "department": department,
            "expected_end_at": format_min(wall_min(STOP.resumed_on, 8 * 60 + 30)),
            "why": "A burst pipe over the paint room.",
        }
        facts.append(DatedFact(wall_min(on, STOP.at_min), "department.stopped", "studio", data))
    if on == STOP.resumed_on:
        at_min = wall_min(on, STOP.resumed_at_min)
        facts.append(DatedFact(at_min, "department.resumed", "studio", {"department": department}))
    return facts
