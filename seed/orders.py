"""Three change orders before the record ends: one approved, one declined, one withdrawn."""

from datetime import date
from typing import Any

from seed.dates import wall_min
from seed.floor import Floor
from seed.journal import DatedFact, Journal
from seed.scenario import SHOW
from service.production.reach import was_begun
from service.production.state import State
from service.vocabulary.money import money_text

APPROVED, DECLINED, WITHDRAWN = "CO-1", "CO-2", "CO-3"
RAISED_BEFORE, PRICED_BEFORE, ANSWERED_BEFORE = 3, 1, 0
"""Days of the record before its last one."""
RAISED_MIN, PRICED_MIN, ANSWERED_MIN = 8 * 60 + 21, 8 * 60 + 23, 8 * 60 + 24
USERS_LEAST = 5


class Orders:
    """What client and broadcaster ask for, and what becomes of it."""

    def __init__(self, journal: Journal, floor: Floor) -> None:
        self.journal = journal
        self.floor = floor

    def morning(self, on: date, before_last: int) -> None:
        """Post what is said of orders on a morning, so many days before the last one."""
        if before_last == RAISED_BEFORE:
            self.journal.post("supervisor", self._raised(on))
        elif before_last == PRICED_BEFORE:
            at_min = wall_min(on, PRICED_MIN)
            prices = [self._price(code, at_min) for code in (APPROVED, DECLINED)]
            self.journal.post("supervisor", prices)
        elif before_last == ANSWERED_BEFORE:
            at_min = wall_min(on, ANSWERED_MIN)
            withdrawn = {"order": WITHDRAWN, "why": "The sound was moved instead."}
            self.journal.post("producer", [self._approval(at_min), _refusal(at_min)])
            self.journal.post(
                "supervisor", [DatedFact(at_min, "change-order.withdrawn", SHOW, withdrawn)]
            )

    def _raised(self, on: date) -> list[DatedFact]:
        at_min = wall_min(on, RAISED_MIN)
        state = self.journal.state
        episode, untouched = self._last_untouched()
        added = [
            {"change": "add", "scene": f"{episode}/{number}", "frames": 96, "drawings": 40}
            for number in ("901", "902", "903")
        ]
        whole = {
            APPROVED: (
                "client",
                "That place is not as it is in the book: paint it again. Hold longer on the "
                "letter, and drop the wave.",
                [
                    {"change": "redesign", "element": self._background(state)},
                    {"change": "retime", "scene": untouched[0], "frames": 120, "drawings": 66},
                    {"change": "omit", "scene": untouched[1]},
                    {**added[0], "scene": f"{episode}/900", "frames": 48},
                    {"change": "fee", "amount": "180.00", "what": "A second viewing"},
                ],
            ),
            DECLINED: ("broadcaster", "Three more scenes for the harbour race.", added),
            WITHDRAWN: (
                "studio",
                "A beat more before the door.",
                [{"change": "retime", "scene": untouched[2], "frames": 90}],
            ),
        }
        return [
            DatedFact(
                at_min,
                "change-order.raised",
                SHOW,
                {"order": code, "asked_by": asked_by, "words": words, "lines": lines},
            )
            for code, (asked_by, words, lines) in whole.items()
        ]

    def _background(self, state: State) -> str:
        """A background most of whose scenes are shot, of an episode that has not left."""
        shot: dict[str, int] = {}
        for name in self.journal.listed["elements"]:
            element = state.elements[name]
            users = [
                scene
                for scene in element.scenes
                if state.episodes[state.scenes[scene].episode].delivered_us < 0
            ]
            if element.kind == "background" and len(users) >= USERS_LEAST:
                shot[name] = sum(was_begun(state, (scene, "camera")) for scene in users)
        return max(shot, key=shot.__getitem__)

    def _last_untouched(self) -> tuple[str, list[str]]:
        """The last episode that has scenes, and those of them that no desk has had."""
        state = self.journal.state
        episode = next(
            name
            for name in reversed(self.journal.listed["episodes"])
            if len(state.episodes[name].scenes) > 0
        )
        scenes = [
            scene
            for scene in state.episodes[episode].scenes
            if not state.scenes[scene].omitted
            and not state.scenes[scene].same_as
            and not any(was_begun(state, node) for node in self.floor.nodes_of(scene))
        ]
        return episode, scenes[-3:]

    def _price(self, code: str, at_min: int) -> DatedFact:
        """The price as it is quoted then."""
        quote = self.journal.quote(code, at_min)
        data: dict[str, Any] = {
            "order": code,
            "position": self.journal.position,
            "currency": quote.currency,
            "lines": [
                {"line": number, "amount": money_text(amount)}
                for number, amount in enumerate(quote.amounts, 1)
            ],
            "total": money_text(quote.total),
        }
        return DatedFact(at_min, "change-order.priced", SHOW, data)

    def _approval(self, at_min: int) -> DatedFact:
        """At the price of the day before, whatever the desks have done since."""
        price = self.journal.state.orders[APPROVED].price
        if price is None:
            raise LookupError(f"{APPROVED} has no price")
        data = {"order": APPROVED, "position": price.position}
        return DatedFact(at_min, "change-order.approved", SHOW, data)


def _refusal(at_min: int) -> DatedFact:
    why = "There is no room for it before the air date."
    return DatedFact(at_min, "change-order.declined", SHOW, {"order": DECLINED, "why": why})
