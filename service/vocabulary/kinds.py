"""The kinds of value a fact's member may have.

A kind says what is allowed, for the schemas that check what comes in, and how a checked JSON
value becomes the value the core works with (`revive`). One definition serves both.
"""

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, cast

from service.vocabulary import identifiers
from service.vocabulary.instants import format_instant, parse_instant
from service.vocabulary.money import CURRENCY as CURRENCY_CODE
from service.vocabulary.money import MONEY, SIGNED_MONEY, money_text
from service.vocabulary.quantities import from_e4, to_e4


@dataclass(frozen=True)
class Kind:
    """Base of all kinds; `revive` is the identity where JSON and core agree."""

    def revive(self, value: Any) -> Any:
        """The core's value of a checked JSON value."""
        return value

    def tell(self, value: Any) -> Any:
        """The JSON value of the core's value: what `revive` undoes."""
        return value


@dataclass(frozen=True)
class Text(Kind):
    """Free text or a person's name: personal, so kept aside from the event's body."""

    length_max: int = 4000


@dataclass(frozen=True)
class Label(Kind):
    """A short public title of a thing, never of a person."""

    length_max: int = 120


@dataclass(frozen=True)
class Code(Kind):
    """An identifier that matches a pattern; `what` says it in words."""

    pattern: str
    what: str
    length_max: int = 80


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few words."""

    among: tuple[str, ...]


@dataclass(frozen=True)
class Flag(Kind):
    """True or false."""


@dataclass(frozen=True)
class Whole(Kind):
    """An integer; 3.0 is one, as in JSON Schema."""

    least: int
    most: int

    def revive(self, value: Any) -> int:
        """The integer."""
        return int(value)


@dataclass(frozen=True)
class Quantity(Kind):
    """A number with at most four decimals, held in ten-thousandths."""

    least_e4: int
    most_e4: int

    def revive(self, value: Any) -> int:
        """Ten-thousandths."""
        return to_e4(value)

    def tell(self, value: Any) -> int | float:
        """The number."""
        return from_e4(value)


@dataclass(frozen=True)
class Money(Kind):
    """An amount or a price as decimal text, with at most four decimals."""

    signed: bool = False

    @property
    def pattern(self) -> str:
        """What all of the text must match."""
        return f"^{SIGNED_MONEY if self.signed else MONEY}$"

    def revive(self, value: Any) -> Decimal:
        """The decimal."""
        return Decimal(value)

    def tell(self, value: Any) -> str:
        """Decimal text."""
        return money_text(value)


@dataclass(frozen=True)
class Day(Kind):
    """A date, ISO 8601 (`YYYY-MM-DD`)."""

    def revive(self, value: Any) -> date:
        """The date."""
        return date.fromisoformat(value)

    def tell(self, value: date) -> str:
        """ISO 8601 text."""
        return value.isoformat()


@dataclass(frozen=True)
class Moment(Kind):
    """An instant, RFC 3339 with a zone; held in microseconds since the epoch."""

    def revive(self, value: Any) -> int:
        """Microseconds since the epoch."""
        return parse_instant(value)

    def tell(self, value: Any) -> str:
        """RFC 3339 text in UTC."""
        return format_instant(value)


@dataclass(frozen=True)
class ClockTime(Kind):
    """A wall time `HH:MM`; held in minutes from midnight."""

    def revive(self, value: Any) -> int:
        """Minutes from midnight."""
        return int(value[:2]) * 60 + int(value[3:])

    def tell(self, value: Any) -> str:
        """HH:MM."""
        return f"{value // 60:02d}:{value % 60:02d}"


@dataclass(frozen=True)
class Listing(Kind):
    """A list of values of one kind."""

    of: Kind
    least: int = 0
    most: int = 1000

    def revive(self, value: Any) -> tuple[Any, ...]:
        """A tuple."""
        return tuple(self.of.revive(item) for item in value)

    def tell(self, value: Any) -> list[Any]:
        """A list."""
        return [self.of.tell(item) for item in value]


@dataclass(frozen=True)
class Table(Kind):
    """Values of one kind by department."""

    of: Kind

    def revive(self, value: Any) -> tuple[tuple[str, Any], ...]:
        """Pairs sorted by department, so that equal tables are equal values."""
        return tuple(sorted((name, self.of.revive(item)) for name, item in value.items()))

    def tell(self, value: Any) -> dict[str, Any]:
        """An object."""
        return {name: self.of.tell(item) for name, item in value}


@dataclass(frozen=True)
class Group(Kind):
    """A nested object, itself a dataclass of members."""

    of: type

    def revive(self, value: Any) -> Any:
        """The nested dataclass."""
        return reviver(self.of)(value)

    def tell(self, value: Any) -> dict[str, Any]:
        """An object of its members."""
        return json_members(value)


SHOW_CODE = Code(f"^{identifiers.SHOW}$", "a show's code, such as LANTERN")
DEPARTMENT = Code(
    f"^{identifiers.DEPARTMENT}$", "a department: lower-case words joined by hyphens", 40
)
POSITION = Whole(1, 2**53 - 1)
CODE = Code(f"^{identifiers.CODE}$", "a code of letters, digits, dots, hyphens, underscores", 64)
ITEM = Code(
    f"^{identifiers.SHOW}(?:-{identifiers.EPISODE}(?:/{identifiers.SCENE})?|:{identifiers.ELEMENT})$",
    "an item: SHOW-EPISODE, SHOW-EPISODE/SCENE or SHOW:ELEMENT",
)
SCENE = Code(
    f"^{identifiers.SHOW}-{identifiers.EPISODE}/{identifiers.SCENE}$",
    "a scene: SHOW-EPISODE/SCENE",
)
EPISODE = Code(f"^{identifiers.SHOW}-{identifiers.EPISODE}$", "an episode: SHOW-EPISODE")
ELEMENT = Code(f"^{identifiers.SHOW}:{identifiers.ELEMENT}$", "an element: SHOW:ELEMENT")
# the retakes that an order calls are named by its code and the line
ORDER = Code(
    f"^{identifiers.ORDER}$",
    "an order's code of letters, digits, dots, hyphens, underscores",
    56,
)
SHAPE = Code(
    f"^{identifiers.SHAPE}$",
    "how a code looks: letters, digits, dots, underscores, # for digits and @ for a letter",
    16,
)
CURRENCY = Code(f"^{CURRENCY_CODE}$", "a currency's code of ISO 4217, such as EUR", 3)
TAKE = Whole(1, 999)
SHARE = Quantity(1, 10_000)
AMOUNT = Quantity(0, 10_000_000 * 10_000)

UNSAID: Any = dataclasses.MISSING


def says(kind: Kind, note: str, *, default: Any = UNSAID) -> Any:
    """A dataclass field for one member; `note` is its public description.

    A member with a default may be left out.
    """
    return dataclasses.field(default=default, metadata={"kind": kind, "note": note})


@dataclass(frozen=True)
class Member:
    """One member of a fact as JSON shows it."""

    name: str
    attribute: str
    kind: Kind
    note: str
    default: Any

    @property
    def required(self) -> bool:
        """Whether it must be said."""
        return self.default is UNSAID

    @property
    def personal(self) -> bool:
        """Whether it is kept aside from the event's body."""
        return isinstance(self.kind, Text)

    @property
    def same(self) -> bool:
        """Whether its JSON value is the core's value."""
        return type(self.kind).revive is Kind.revive


def members(cls: type) -> tuple[Member, ...]:
    """The members of a dataclass made with `says`, in order.

    The JSON name is the attribute's without the suffix that says how the core holds it.
    """
    return tuple(
        Member(
            field.name.removesuffix("_e4").removesuffix("_us").removesuffix("_min"),
            field.name,
            field.metadata["kind"],
            field.metadata["note"],
            field.default,
        )
        for field in dataclasses.fields(cls)
    )


_revivers: dict[type, Callable[[Mapping[str, Any]], Any]] = {}


def reviver(cls: type) -> Callable[[Mapping[str, Any]], Any]:
    """A function from checked JSON members to the dataclass; unknown members are passed over."""
    made = _revivers.get(cls)
    if made is not None:
        return made
    plan = []
    for member in members(cls):
        # personal text is not in the body, and the core has no use for it
        default = None if member.personal else member.default
        plan.append(
            (member.name, None if member.same else member.kind.revive, default, member.personal)
        )

    def revive(data: Mapping[str, Any]) -> Any:
        values = []
        for name, convert, default, aside in plan:
            value = default if aside else data.get(name, default)
            if value is not default and convert is not None:
                value = convert(value)
            values.append(value)
        return cls(*values)

    _revivers[cls] = revive
    return cast(Callable[[Mapping[str, Any]], Any], revive)


def json_members(fact: Any) -> dict[str, Any]:
    """The JSON members of a dataclass made with `says`; those at their defaults are left out.

    So is personal text, which the core has not. `reviver` of its class gives an equal one.
    """
    public = (member for member in members(type(fact)) if not member.personal)
    values = ((member, getattr(fact, member.attribute)) for member in public)
    return {
        member.name: member.kind.tell(value) for member, value in values if value != member.default
    }
