"""What every fact has, and who may record it."""

from enum import StrEnum
from typing import ClassVar

from service.vocabulary.identifiers import Form


class Role(StrEnum):
    """What a token's holder does in the studio."""

    OFFICE = "office"
    DESK = "desk"
    SUPERVISOR = "supervisor"
    PRODUCER = "producer"
    AUDITOR = "auditor"


ABOVE_DESKS = (Role.OFFICE, Role.SUPERVISOR, Role.PRODUCER, Role.AUDITOR)
"""The roles that may read what was recorded to the letter, the text of every event included."""
SEES_MONEY = ABOVE_DESKS
"""The roles that may read rates, change orders and what retakes cost."""

_ABOUT_MONEY = ("rate.", "change-order.")

OWNER = "owner"
"""What stands for the role where the owner of the database records; no token has it."""


def money_hidden_from(role: str, type_: str) -> bool:
    """Whether what events of a type say is kept from a role, since it is about money."""
    return type_.startswith(_ABOUT_MONEY) and role not in SEES_MONEY


class Fact:
    """Base of all facts. A fact is a frozen dataclass whose members are made with `says`.

    `VERSION` counts what its members have meant: `upcasting` reads the versions before. `CAUTIONS`
    are what whoever records it must know and the service does not.
    """

    __slots__ = ()
    TYPE: ClassVar[str]
    VERSION: ClassVar[int] = 1
    SUBJECTS: ClassVar[frozenset[Form]]
    ROLES: ClassVar[frozenset[Role]]
    CAUTIONS: ClassVar[tuple[str, ...]] = ()


STUDIO = frozenset({Form.STUDIO})
SHOW = frozenset({Form.SHOW})
EPISODE = frozenset({Form.EPISODE})
SCENE = frozenset({Form.SCENE})
ELEMENT = frozenset({Form.ELEMENT})
ITEM = frozenset({Form.EPISODE, Form.SCENE, Form.ELEMENT})

OFFICE = frozenset({Role.OFFICE})
SUPERVISION = frozenset({Role.SUPERVISOR})
DESKS = frozenset({Role.DESK, Role.SUPERVISOR})
BUSINESS = frozenset({Role.OFFICE, Role.PRODUCER})
LEADS = frozenset({Role.SUPERVISOR, Role.PRODUCER})
PRODUCTION = frozenset({Role.PRODUCER})
