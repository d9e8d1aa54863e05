"""Who may read personal text."""

from collections.abc import Mapping
from typing import Any

from service.log.tokens import Token
from service.vocabulary.facts import Role

_ALL = frozenset({Role.OFFICE, Role.SUPERVISOR, Role.PRODUCER, Role.AUDITOR})
# what the desks say to each other and what is called back concerns them all
_SHARED = ("note.", "retake.")
_NAMES_OF_DEPARTMENTS = ("department", "to", "sender", "back_to", "fault_of")


def sees_all_text(token: Token) -> bool:
    """Whether the holder may read the personal text of every event."""
    return token.role in _ALL


def sees_text(token: Token, event: Mapping[str, Any]) -> bool:
    """Whether the holder may read the personal text of an event."""
    if sees_all_text(token):
        return True
    if token.role != Role.DESK:
        return False
    if event["type"].startswith(_SHARED):
        return True
    data = event["data"]
    return any(data.get(name) in token.departments for name in _NAMES_OF_DEPARTMENTS)
