"""Values at the ends of what may be recorded, drawn by their kinds in the vocabulary.

Each member's value is drawn by its kind: both bounds, every choice, the shortest and the longest
text, lists with nothing and with much in them, the first and the last dates. Codes and names are
mostly those of something on record.
"""

from collections.abc import Collection
from random import Random
from typing import Any

from service.production.state import departments_of, item_of
from service.vocabulary import kinds
from service.vocabulary.identifiers import Form
from service.vocabulary.kinds import Kind, members
from service.vocabulary.quantities import from_e4
from tests.telling import Story

DAYS = (
    *("1900-01-01", "1969-12-31", "1970-01-01", "2031-03-10", "2199-12-31"),
    *("2001-12-31", "2061-03-03"),
)
"""The first and last dates that the schemas take, those around the epoch, and some decades away
from the clock of a story."""
MOMENTS = (
    *("1900-01-01T00:00:00+14:00", "1970-01-01T00:00:00Z", "2031-03-20T12:00:00Z"),
    *("2061-03-03T23:59:59.999999Z", "2199-12-31T23:59:59.999999Z", "2199-12-31T23:59:59-23:59"),
)
TEXTS = ("x", " ", "\n", "\U0001f98a" * 40, "e\u0301\u202e\u00ad")
ZONES = ("Europe/Lisbon", "Pacific/Kiritimati", "Etc/GMT+12", "Africa/Monrovia", "Asia/Kathmandu")
CURRENCIES = ("EUR", "EUR", "JPY", "KWD", "CLF")
SHAPES = ("#", "@", "#" * 16, "#@" * 8, "sc_###_@", "_.#")
HOURS = ("00:00", "00:01", "09:00", "17:00", "23:59")
TIMES: dict[type[Kind], tuple[str, ...]] = {
    kinds.Day: DAYS,
    kinds.Moment: MOMENTS,
    kinds.ClockTime: HOURS,
}
AMOUNTS = ("0", "0.0001", "1", "12.5", "999999999999.9999")
LONG_LIST = 60
"""How many values a list has at most here; a thousand take long and show no more."""


class Draw:
    """Values for the members of one fact, from a story and a source of random numbers."""

    def __init__(self, story: Story, random: Random, prefix: str) -> None:
        self.story, self.random, self.prefix = story, random, prefix
        self.state = story.state
        self.place = len(story.events) + 1
        self.subject = ""
        self.departments = sorted(self.state.units) or ["layout"]

    def keep_to_route(self, form: Form) -> None:
        """Name mostly departments that the subject visits; a new one those of its like."""
        if form not in (Form.EPISODE, Form.SCENE, Form.ELEMENT):
            return
        found = item_of(self.state, self.subject) or item_of(self.state, self.recorded(form))
        if found is not None and self.random.random() < 0.9:
            self.departments = list(departments_of(found)) or self.departments

    def group(self, cls: type, named: Collection[str] = ()) -> dict[str, Any]:
        """The members of a dataclass: those that it needs, those named, and some others."""
        return {
            member.name: self.value(member.name, member.kind)
            for member in members(cls)
            if member.required or member.attribute in named or self.random.random() < 0.4
        }

    def value(self, name: str, kind: Kind) -> Any:
        """A value of a kind, for a member of a name."""
        random = self.random
        match kind:
            case kinds.Text() | kinds.Label():
                return random.choice((*TEXTS, "x" * kind.length_max))
            case kinds.Code():
                return self._code(name, kind)
            case kinds.Choice():
                return random.choice(kind.among)
            case kinds.Flag():
                return random.random() < 0.5
            case kinds.Whole():
                return self._whole(name, kind)
            case kinds.Quantity():
                ends = (kind.least_e4, kind.least_e4 + 1, kind.most_e4)
                return from_e4(random.choice((*ends, min(3333, kind.most_e4))))
            case kinds.Money():
                minus = "-" if kind.signed and random.random() < 0.4 else ""
                return f"{minus}{random.choice(AMOUNTS[1:] if minus else AMOUNTS)}"
            case kinds.Day() | kinds.Moment() | kinds.ClockTime():
                return random.choice(TIMES[type(kind)])
        return self._several(name, kind)

    def _several(self, name: str, kind: Kind) -> Any:
        match kind:
            case kinds.Listing():
                return self._listing(name, kind)
            case kinds.Table():
                count = self.random.randint(0, len(self.departments))
                some = self.random.sample(self.departments, count)
                return {department: self.value(name, kind.of) for department in some}
            case kinds.Group():
                return self.group(kind.of)
        raise TypeError(f"values of {kind} cannot be drawn yet")

    def _listing(self, name: str, kind: kinds.Listing) -> list[Any]:
        most = min(kind.most, LONG_LIST)
        size = self.random.choice((kind.least, 1, 1, 2, 3, most))
        drawn = [self.value(name, kind.of) for _ in range(max(kind.least, min(size, most)))]
        # a value that stands twice is refused nearly everywhere
        return [value for place, value in enumerate(drawn) if value not in drawn[:place]]

    def _whole(self, name: str, kind: kinds.Whole) -> int:
        if name == "position":
            return self.random.choice(
                (1, max(1, self.place - 1), self.random.randint(1, self.place))
            )
        inside = [value for value in (0, 1, 2) if kind.least <= value <= kind.most]
        return self.random.choice((kind.least, kind.most, *inside))

    def _code(self, name: str, kind: kinds.Code) -> str:
        forms = {
            kinds.SHOW_CODE: (Form.SHOW,),
            kinds.EPISODE: (Form.EPISODE,),
            kinds.SCENE: (Form.SCENE,),
            kinds.ELEMENT: (Form.ELEMENT,),
            kinds.ITEM: (Form.SCENE, Form.EPISODE, Form.ELEMENT),
        }
        among = {kinds.CURRENCY: CURRENCIES, kinds.SHAPE: SHAPES}
        if kind in forms:
            return self.recorded(self.random.choice(forms[kind]))
        if kind in among:
            return self.random.choice(among[kind])
        if kind == kinds.DEPARTMENT:
            return self.random.choice(self.departments)
        if kind in (kinds.CODE, kinds.ORDER):
            return self._named(name, kind.length_max)
        return self.random.choice(ZONES)

    def _named(self, name: str, length_max: int) -> str:
        """The code of something on record, or a new one, at times as long as may be."""
        state = self.state
        recorded = {
            "kind": ["background", "model-sheet", "cast", "prop"],
            "retake": sorted(state.retakes),
            "note": sorted(state.notes),
            "order": sorted(state.orders),
        }.get(name, [])
        if recorded and (name == "kind" or self.random.random() < 0.6):
            return self.random.choice(recorded)
        new = f"{name[0]}{self.place}"
        return self.random.choice((new, new.ljust(length_max, "_")))

    def recorded(self, form: Form) -> str:
        state = self.state
        by_form: dict[Form, Collection[str]] = {
            Form.STUDIO: ("studio",),
            Form.SHOW: state.shows,
            Form.EPISODE: state.episodes,
            Form.SCENE: state.scenes,
            Form.ELEMENT: state.elements,
        }
        names = sorted(by_form[form])
        return self.random.choice([n for n in names if n.startswith(self.prefix)] or names)

    def new(self, form: Form) -> str:
        """What was not there before, at times with a name as long as may be."""
        short, stretch = f"{self.place}", self.random.random() < 0.3
        if form is Form.SHOW:
            return f"{self.prefix[:7]}{short[-4:]}"
        if form is Form.EPISODE:
            return f"{self.recorded(Form.SHOW)}-{short.rjust(12, '0') if stretch else short}"
        if form is Form.SCENE:
            return f"{self.recorded(Form.EPISODE)}/{short.ljust(16, '.') if stretch else short}"
        return f"{self.recorded(Form.SHOW)}:{short.ljust(32, '-') if stretch else short}"
