"""Who may read personal text, and who may read money.

Who may have the salt of a recorded body follows from it, in `recorded`.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from service.log.tokens import Token
from service.vocabulary.facts import Role
from service.vocabulary.facts.base import ABOVE_DESKS, SEES_MONEY, money_hidden_from

# what the desks say to each other and what is called back concerns them all
_SHARED = ("note.", "retake.")
_NAMES_OF_DEPARTMENTS = ("department", "to", "sender", "back_to", "fault_of")


class Concern(NamedTuple):
    """What decides who may read an event's text: its type and the departments that it names."""

    type_: str
    departments: frozenset[str] = frozenset()


def concern_of(event: Mapping[str, Any]) -> Concern:
    """The concern of a recorded event, its JSON object."""
    data = event["data"]
    named = (data[name] for name in _NAMES_OF_DEPARTMENTS if isinstance(data.get(name), str))
    return Concern(event["type"], frozenset(named))


def sees_money(token: Token) -> bool:
    """Whether the holder may read rates, change orders and costs."""
    return token.role in SEES_MONEY


def withheld(token: Token, type_: str) -> bool:
    """Whether the data of events of a type are kept from the holder."""
    return money_hidden_from(token.role, type_)


def sees_all_text(token: Token) -> bool:
    """Whether the holder may read the personal text of every event."""
    return token.role in ABOVE_DESKS


def sees_text(token: Token, concern: Concern) -> bool:
    """Whether the holder may read the personal text of an event."""
    if sees_all_text(token):
        return True
    if token.role != Role.DESK or withheld(token, concern.type_):
        return False
    if concern.type_.startswith(_SHARED):
        return True
    return not concern.departments.isdisjoint(token.departments)
