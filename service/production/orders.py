"""Change orders: the one table of their legal moves, and the facts that an order consists of.

`decide/carrying` writes the facts of an order's lines into a branch of the state: when the order is
raised, to price it, and in earnest when it is approved. The events behind an approval have ids made
of its code and the order's, and the approval as their `cause`, which no poster may send. A price is
worked out where plans are (`planning/compare/pricing`) and passed in. It is compared with what an
event says when that is new, and never when the log is folded again.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import NamedTuple, Protocol

from service.production.ordered import Order, OrderPrice
from service.production.refusal import Refusal
from service.production.state import AnyState, State
from service.vocabulary.facts import Fact
from service.vocabulary.facts import office as office_facts
from service.vocabulary.facts import orders as facts
from service.vocabulary.facts.retakes import RetakeCalled
from service.vocabulary.quantities import ONE_E4

RAISED, PRICED, APPROVED, DECLINED, WITHDRAWN = (
    "raised",
    "priced",
    "approved",
    "declined",
    "withdrawn",
)
STANDINGS = (RAISED, PRICED, APPROVED, DECLINED, WITHDRAWN)

# what an order is -> what it may become; the last three are ends
MOVES: Mapping[str, frozenset[str]] = {
    RAISED: frozenset({PRICED, DECLINED, WITHDRAWN}),
    PRICED: frozenset({PRICED, APPROVED, DECLINED, WITHDRAWN}),
    APPROVED: frozenset(),
    DECLINED: frozenset(),
    WITHDRAWN: frozenset(),
}

# by change: the members that a line of it needs, and those that it may have besides
MEMBERS: Mapping[str, tuple[frozenset[str], frozenset[str]]] = {
    "retake": (
        frozenset({"items", "back_to", "strands"}),
        frozenset({"share_e4", "drawings", "urgency", "kind", "dependents"}),
    ),
    "add": (
        frozenset({"scene", "frames"}),
        frozenset({"drawings", "levels", "difficulty", "work", "elements"}),
    ),
    "retime": (frozenset({"scene", "frames"}), frozenset({"drawings"})),
    "omit": (frozenset({"scene"}), frozenset()),
    "restore": (frozenset({"scene"}), frozenset()),
    "redesign": (
        frozenset({"element"}),
        frozenset({"share_e4", "urgency", "kind", "dependents"}),
    ),
    "fee": (frozenset({"amount", "what"}), frozenset()),
}


class Derived(NamedTuple):
    """A fact that a line consists of. `at` says where in the line what it says comes from."""

    subject: str
    fact: Fact
    at: Mapping[str, str]

    def pointer(self, member: str) -> str:
        """Where in the line stands what a pointer into the fact's event means; "": the line."""
        for own, within in self.at.items():
            if member == own:
                return within
        name = member.removeprefix("/data")
        first = name.split("/")[1] if name.startswith("/") else ""
        return name if member.startswith("/data/") and first in _SAME_NAMES else ""


_SAME_NAMES = frozenset(
    ("items", "back_to", "strands", "share", "drawings", "dependents", "frames", "difficulty")
) | {"work"}


def items_of(line: facts.OrderLine) -> tuple[str, ...]:
    """What a line is about: scenes, elements, episodes; nothing for a fee."""
    return line.items or tuple(item for item in (line.scene, line.element) if item is not None)


def facts_of(state: AnyState, code: str, order: Order, number: int) -> Iterator[Derived]:
    """The facts of an order's line, counted from 1; a fee has none.

    Raises LookupError for the redesign of an element that is not in the record.
    """
    line = order.lines[number - 1]
    if line.change in _CALLS:
        yield _call(state, code, order, number)
    else:
        yield from _changes(line)


_CALLS = frozenset({"retake", "redesign"})
"""The changes that are one call of a retake each, for which the record has to be asked."""


def _changes(line: facts.OrderLine) -> Iterator[Derived]:
    """The facts of a line that is no call."""
    scene = line.scene or ""
    match line.change:
        case "add":
            yield Derived(scene, _listed(line), {"/subject": "/scene"})
            for place, element in enumerate(line.elements):
                at = f"/elements/{place}"
                used = office_facts.ElementUsed(scenes=(scene,))
                yield Derived(element, used, {"/subject": at, "/data/scenes/0": at})
        case "retime":
            retimed = office_facts.SceneRetimed(frames=line.frames or 1, drawings=line.drawings)
            yield Derived(scene, retimed, {"/subject": "/scene"})
        case "omit":
            yield Derived(scene, office_facts.SceneOmitted(), {"/subject": "/scene"})
        case "restore":
            yield Derived(scene, office_facts.SceneRestored(), {"/subject": "/scene"})


def _listed(line: facts.OrderLine) -> office_facts.SceneListed:
    return office_facts.SceneListed(
        frames=line.frames or 1,
        drawings=line.drawings or 0,
        levels=1 if line.levels is None else line.levels,
        difficulty=line.difficulty,
        work=line.work,
    )


def _call(state: AnyState, code: str, order: Order, number: int) -> Derived:
    """The call of a retake or of a redesign; its code is the order's and the line's number."""
    line = order.lines[number - 1]
    items, back_to, strands, share_e4 = line.items, line.back_to, line.strands, line.share_e4
    at: dict[str, str] = {}
    if line.change == "redesign":
        element = state.elements.get(line.element or "")
        if element is None:
            raise LookupError(line.element)
        items, back_to = (line.element or "",), element.departments[0]
        strands = tuple(sorted(element.route.carries(element.kind)))
        share_e4 = ONE_E4 if share_e4 is None else share_e4
        at = dict.fromkeys(("/data/items/0", "/data/back_to"), "/element")
    fact = RetakeCalled(
        retake=f"{code}.{number}",
        kind=line.kind or "revision",
        urgency=line.urgency or "must-fix",
        back_to=back_to or "",
        strands=strands,
        items=items,
        share_e4=share_e4,
        drawings=line.drawings,
        asked_by=order.asked_by,
        dependents=line.dependents,
    )
    return Derived(order.subject, fact, at)


def gate_facts(state: AnyState, gates: tuple[facts.GateMove, ...]) -> Iterator[Derived]:
    """The moves of gates agreed with an approval; a hard date stays one."""
    for move in gates:
        gate = state.episodes[move.episode].gate(move.gate)
        moved = office_facts.GateSet(move.gate, move.due_on, hard=gate is not None and gate.hard)
        yield Derived(move.episode, moved, {})


def count_of(lines: tuple[facts.OrderLine, ...], gates: tuple[facts.GateMove, ...]) -> int:
    """How many facts an approval records behind itself."""
    of_lines = (1 if line.change in _CALLS else len([*_changes(line)]) for line in lines)
    return sum(of_lines) + len(gates)


def positions_behind(order: Order) -> range:
    """Positions of the facts that the approval of an order recorded; none before it is approved."""
    if order.standing != APPROVED:
        return range(0)
    first = order.steps[-1].position + 1
    return range(first, first + count_of(order.lines, order.gates))


class Figures(Protocol):
    """What the rules ask of a quote."""

    @property
    def currency(self) -> str:
        """The currency, ISO 4217."""

    @property
    def amounts(self) -> tuple[Decimal, ...]:
        """The amount of each line."""

    @property
    def total(self) -> Decimal:
        """Their sum."""


class Quotes(Protocol):
    """How the rules ask for a quote, which is made where plans are."""

    def __call__(self, state: State, code: str, at_us: int, /) -> Figures | Refusal:
        """The quote of an order at a moment, or why there is none."""


def differing(price: OrderPrice, quote: Figures) -> list[tuple[int, Decimal, Decimal]]:
    """Lines, counted from 1, whose money is another: what was recorded, and what it is now."""
    return [
        (number, was, now)
        for number, (was, now) in enumerate(zip(price.amounts, quote.amounts, strict=True), 1)
        if was != now
    ]
