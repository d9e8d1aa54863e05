"""The records that a state is made of: what is known of each thing, as it stands."""

from datetime import date
from decimal import Decimal
from typing import NamedTuple

from service.production.route import Route
from service.vocabulary.footage import RATES, Rate
from service.vocabulary.instants import NOT_YET_US

WORDS = tuple[tuple[str, int], ...]
Node = tuple[str, str]  # (item, department)


class Crew(NamedTuple):
    """A department's artists from a date on."""

    from_on: date
    artists: int
    rate_e4: int
    day_min: int


class RateCard(NamedTuple):
    """Prices by department's unit, valid from a date; the share of them that is credited."""

    from_on: date
    currency: str
    rates: tuple[tuple[str, Decimal], ...]
    credit_e4: int

    def rate(self, department: str) -> Decimal | None:
        """The price of a department's unit; None where the card has none."""
        return next((rate for name, rate in self.rates if name == department), None)


class Stoppage(NamedTuple):
    """A department not working.

    `resumed_us` is NOT_YET_US while it lasts, `expected_end_us` where nobody knows the end.
    """

    position: int
    stopped_us: int
    expected_end_us: int
    resumed_us: int

    @property
    def lasts(self) -> bool:
        """Whether the department has not gone on yet."""
        return self.resumed_us == NOT_YET_US


class LaidRoute(NamedTuple):
    """A route, the date from which items listed take it (None: at once), and when it was laid."""

    from_on: date | None
    route: Route
    laid_us: int


class Show(NamedTuple):
    """A show: a series, with its routes and episodes."""

    title: str
    frames_per_second: int
    routes: tuple[LaidRoute, ...] = ()
    elements: tuple[str, ...] = ()
    timecode: str | None = None
    scene_codes: tuple[str, ...] = ()

    @property
    def rate(self) -> Rate:
        """How its time code numbers frames."""
        return Rate(self.frames_per_second) if self.timecode is None else RATES[self.timecode]


class Gate(NamedTuple):
    """A date an episode must meet."""

    due_on: date
    hard: bool


class Meeting(NamedTuple):
    """When a gate was first met, and since when it has stood met; NOT_YET_US for never and open."""

    gate: str
    met_us: int
    stands_us: int


class Episode(NamedTuple):
    """One half hour. `met` is how its gates stood as it was delivered; empty until then."""

    title: str
    show: str
    order: int
    route: Route
    frames: int | None
    difficulty: WORDS
    work: WORDS
    gates: tuple[tuple[str, Gate], ...] = ()
    scenes: tuple[str, ...] = ()
    delivered_us: int = NOT_YET_US
    priority: int = 0
    scene_frames: int = 0  # running total over the scenes in the picture
    recounted_us: int = (
        NOT_YET_US  # the latest instant at which its scenes came, went or were retimed
    )
    met: tuple[Meeting, ...] = ()

    @property
    def delivered(self) -> bool:
        """Whether it left the studio."""
        return self.delivered_us >= 0

    def gate(self, name: str) -> Gate | None:
        """The gate of that name, if it is set."""
        return next((gate for kind, gate in self.gates if kind == name), None)


class Hold(NamedTuple):
    """A scene waits for an answer."""

    position: int
    owes: str
    by_on: date
    since_us: int


class SameAs(NamedTuple):
    """A scene reuses another's, from a department on."""

    source: str
    joins: str
    strands: frozenset[str]
    levels: tuple[str, ...]


class Length(NamedTuple):
    """What a retime made of a scene, from an instant on."""

    from_us: int
    frames: int
    drawings: int


class Scene(NamedTuple):
    """One camera set-up. `departments` are those it visits itself, in route order.

    `lengths` are empty until the first retime; then the length it was listed with and those since,
    in the order in which they were recorded.
    """

    episode: str
    number: str
    route: Route
    frames: int
    drawings: int
    levels: int
    difficulty: WORDS
    work: WORDS
    departments: tuple[str, ...]
    listed_us: int
    omitted_us: int = NOT_YET_US
    bought_us: int = NOT_YET_US
    priority: int | None = None  # None: its episode's
    hold: Hold | None = None
    elements: tuple[str, ...] = ()
    same_as: tuple[SameAs, ...] = ()
    omissions: tuple[tuple[int, int], ...] = ()  # those that are over: from, until
    lengths: tuple[Length, ...] = ()

    def length_at(self, at_us: int) -> Length:
        """How long the scene was at an instant, as now known; before a retime of that instant."""
        lengths = self.lengths or (Length(self.listed_us, self.frames, self.drawings),)
        return next((length for length in lengths[:0:-1] if length.from_us < at_us), lengths[0])

    @property
    def omitted(self) -> bool:
        """Whether the scene is out of the picture."""
        return self.omitted_us >= 0

    @property
    def bought(self) -> bool:
        """Whether it was ever accepted; a retake since may have reopened it."""
        return self.bought_us >= 0

    def omitted_at(self, at_us: int) -> bool:
        """Whether the scene was out of the picture at an instant, as now known."""
        if 0 <= self.omitted_us < at_us:
            return True
        return any(from_us < at_us < until_us for from_us, until_us in self.omissions)


CHANGES = ("listed", "retimed", "omitted", "restored")
"""How a scene changes after work on it, or on its episode, has begun."""


class Touched(NamedTuple):
    """A change of a scene. Which visits had begun by then follows from what is known of them.

    `change` is one of CHANGES; the frames are the scene's part of the picture before and
    after it, 0 where it is out of the picture.
    """

    position: int
    at_us: int
    change: str
    frames_before: int
    frames_after: int


class Answer(NamedTuple):
    """An answer to a design that was asked about; what a refusal called, else ""."""

    position: int
    at_us: int
    answer: str  # "given" or "refused"
    by: str
    retake: str = ""


class Element(NamedTuple):
    """Something made once and used by several scenes. `asked_of` is who was asked last, or ""."""

    show: str
    kind: str
    title: str | None
    route: Route
    frames: int
    drawings: int
    difficulty: WORDS
    work: WORDS
    departments: tuple[str, ...]
    listed_us: int
    scenes: tuple[str, ...] = ()
    priority: int = 0
    asked_of: str = ""
    answers: tuple[Answer, ...] = ()


class Note(NamedTuple):
    """A remark; its text lies with the event at `position`."""

    position: int
    item: str
    to: str
    given_us: int
    answered_us: int = NOT_YET_US
    answered_position: int | None = None

    @property
    def answered(self) -> bool:
        """Whether somebody answered it."""
        return self.answered_us >= 0


class Reached(NamedTuple):
    """A visit in a retake's reach: which visit of the reach it was reached from, and its share."""

    node: Node
    via: Node | None
    share_e4: int


class LookAt(NamedTuple):
    """A scene listed to look at: why, from where, and the answer if there is one."""

    scene: str
    reason: str  # "hook-up" or "marked"
    via: tuple[Reached, ...]
    answer: str = ""


RETAKE_STANDINGS = ("standing", "withdrawn", "bought-as-is")
"""What may have become of a call; a standing one may be done or not, which its takes say."""


class Retake(NamedTuple):
    """A call and its reach, kept as it was called."""

    position: int
    subject: str
    called_us: int
    kind: str
    urgency: str
    back_to: str
    strands: frozenset[str]
    items: tuple[str, ...]
    share_e4: int
    drawings: int | None
    found_at: str | None
    fault_of: str | None
    asked_by: str
    reach: tuple[Reached, ...]
    look_at: tuple[LookAt, ...]
    standing: str = "standing"
    marks: tuple[tuple[str, str], ...] = ()  # scenes, and what the caller wants for them
    called_by: str = ""  # the role that called
