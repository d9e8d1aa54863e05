"""Names of things: subjects, departments and codes, and how a subject is taken apart.

A subject is ``studio``, ``SHOW``, ``SHOW-EPISODE``, ``SHOW-EPISODE/SCENE`` or ``SHOW:ELEMENT``.
Scene numbers are text ("42", "42A") and are never reused.
"""

import re
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

SHOW = r"[A-Z][A-Z0-9]{0,11}"
EPISODE = r"[A-Z0-9]{1,12}"
SCENE = r"[A-Za-z0-9][A-Za-z0-9._]{0,15}"
ELEMENT = r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}"
DEPARTMENT = r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*"
CODE = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
ORDER = r"[A-Za-z0-9][A-Za-z0-9._-]{0,55}"
STUDIO = r"[a-z][a-z0-9-]{0,31}"

_SUBJECT = re.compile(
    rf"(?:(?P<studio>studio)|(?P<show>{SHOW})"
    rf"(?:-(?P<episode>{EPISODE})(?:/(?P<scene>{SCENE}))?|:(?P<element>{ELEMENT}))?)"
)


class Form(StrEnum):
    """What kind of thing a subject names."""

    STUDIO = "studio"
    SHOW = "show"
    EPISODE = "episode"
    SCENE = "scene"
    ELEMENT = "element"


class Subject(NamedTuple):
    """A subject taken apart. ``show`` and ``episode`` are themselves subjects ("" if absent)."""

    text: str
    form: Form
    show: str
    episode: str
    last: str


FORMS_SHOWN = {
    Form.STUDIO: "studio",
    Form.SHOW: "SHOW",
    Form.EPISODE: "SHOW-EPISODE",
    Form.SCENE: "SHOW-EPISODE/SCENE",
    Form.ELEMENT: "SHOW:ELEMENT",
}


@lru_cache(maxsize=1 << 17)
def parse_subject(text: str) -> Subject | None:
    """Take a subject apart; None if it has none of the five forms."""
    found = _SUBJECT.fullmatch(text)
    if found is None:
        return None
    if found["studio"]:
        return Subject(text, Form.STUDIO, "", "", "studio")
    show = found["show"]
    if found["scene"]:
        return Subject(text, Form.SCENE, show, f"{show}-{found['episode']}", found["scene"])
    if found["episode"]:
        return Subject(text, Form.EPISODE, show, text, found["episode"])
    if found["element"]:
        return Subject(text, Form.ELEMENT, show, "", found["element"])
    return Subject(text, Form.SHOW, show, "", show)


@lru_cache(maxsize=1 << 16)
def natural_order(number: str) -> tuple[tuple[int, str], ...]:
    """Sort key that puts scene "9" before "42" and "42" before "42A"."""
    parts = re.findall(r"(\d+)|([^\d]+)", number)
    return tuple((int(digits) if digits else -1, other) for digits, other in parts)
