"""One day at one department: what is finished, what comes in, what is begun.

A day is worked through in the order of the line, so that what one department hands off lies in
the next one's tray the same day.
"""

import heapq
from collections.abc import Callable

from seed import words
from seed.floor import Floor
from seed.journal import DatedFact
from seed.scenario import CODES
from service.production.state import Node, visit_of
from service.production.work import crew_at
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN

HANDED_OUT = ("layout", "background", "animation", "clean-up", "in-between")
HAND_OUT_CHANCE = 0.62
REFUSAL_CHANCE = 0.012
REFUSAL_AGE_MAX_MIN = 24 * 60
SENDERS = {
    "clean-up": "animation",
    "in-between": "clean-up",
    "ink-and-paint": "in-between",
    "animation-check": "ink-and-paint",
    "camera": "animation-check",
}


class Shift:
    """The desks at work; afterwards `finished`, `pulled` and `sent_back` say what became of it.

    `fails_check` says of a scene whether check finds a mistake in it: it is then pulled, and stays
    booked at check until the correction is called. What is `unposted` was done and not yet posted;
    nobody sends it back.
    """

    def __init__(self, floor: Floor, fails_check: Callable[[str], bool]) -> None:
        self.floor = floor
        self.fails_check = fails_check
        self.finished: list[Node] = []
        self.pulled: list[str] = []
        self.sent_back: list[Node] = []
        self.unposted: dict[Node, None] = {}
        self._refused: dict[Node, None] = {}

    def work(self, department: str, opens_min: int, closes_min: int) -> list[DatedFact]:
        """What a department's desks tell of one day."""
        desks = self.floor.desks[department]
        facts: list[DatedFact] = []
        moment = opens_min
        while moment < closes_min:
            facts += self._finish(department, moment)
            while desks.arriving and desks.arriving[0][0] <= moment:
                node = heapq.heappop(desks.arriving)[2]
                if self.floor.ready(node):
                    heapq.heappush(desks.tray, (self.floor.key(node), node))
            opens = desks.time.next_working(moment)
            if opens == moment:
                facts += self._start(department, moment)
            coming = [heap[0][0] for heap in (desks.finishing, desks.arriving) if heap]
            moment = min([*coming, opens if opens > moment else NEVER])
        return facts

    def end_day(self) -> None:
        """Forget what became of the day."""
        self.finished, self.sent_back, self.unposted = [], [], {}

    def _finish(self, department: str, moment: int) -> list[DatedFact]:
        floor, facts = self.floor, []
        finishing = floor.desks[department].finishing
        while finishing and finishing[0][0] <= moment:
            finish_min, started_min, node = heapq.heappop(finishing)
            desk = floor.on_desk.get(node)
            if desk is None or desk[1:] != (started_min, finish_min):
                continue  # taken back since
            if department == "animation-check" and self.fails_check(node[0]):
                floor.wait_for_call(node)
                self.pulled.append(node[0])
                continue
            floor.clear(node)
            floor.out_min[node] = finish_min
            self.finished.append(node)
            facts.append(
                DatedFact(finish_min, "hand-off.made", node[0], {"department": department})
            )
            floor.pass_on(node, finish_min)
        return facts

    def _start(self, department: str, moment: int) -> list[DatedFact]:
        floor = self.floor
        desks = floor.desks[department]
        crew = crew_at(floor.journal.state, department, moment)
        artists = crew.artists if crew else 0
        facts: list[DatedFact] = []
        while desks.tray and len(desks.seats) < artists:
            node = heapq.heappop(desks.tray)[1]
            if not floor.ready(node):
                continue
            refusal = self._refuse(node, moment)
            if refusal is not None:
                facts.append(refusal)
                continue
            free = [number for number in range(1, artists + 1) if number not in desks.seats]
            artist = floor.rng.choice(free)
            facts += self._start_facts(node, moment, artist)
            floor.sit(node, moment, moment, artist)
        return facts

    def _start_facts(self, node: Node, moment: int, artist: int) -> list[DatedFact]:
        item, department = node
        data = {"department": department, "artist": f"{CODES[department]}-{artist:02d}"}
        started = DatedFact(moment, "work.started", item, data)
        if department in HANDED_OUT and self.floor.rng.random() < HAND_OUT_CHANCE:
            return [DatedFact(moment, "hand-out.made", item, dict(data)), started]
        return [started]

    def _refuse(self, node: Node, moment: int) -> DatedFact | None:
        """Send a fresh hand-off back now and then, once for a scene and department."""
        floor = self.floor
        item, department = node
        sender = (item, SENDERS.get(department, ""))
        if floor.rng.random() >= REFUSAL_CHANCE or node in self._refused:
            return None
        if sender not in floor.before[node] or sender in self.unposted:
            return None
        if moment - floor.out_min.get(sender, 0) > REFUSAL_AGE_MAX_MIN:
            return None
        since_us = floor.out_min.get(sender, 0) * US_PER_MIN
        takes = visit_of(floor.journal.state, *node).takes
        if any(take.started_us >= since_us for take in takes):
            return None  # it took that hand-off for an earlier take
        self._refused[node] = None
        # the sender's day is already posted: it goes on with it tomorrow
        del floor.out_min[sender]
        self.sent_back.append(sender)
        data = {
            "department": department,
            "sender": sender[1],
            "share": floor.rng.choice((0.1, 0.15, 0.2, 0.3, 0.5)),
            "why": floor.rng.choice(words.REFUSALS[department]),
        }
        return DatedFact(moment, "hand-off.refused", item, data)
