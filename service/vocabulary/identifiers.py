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
SHAPE = r"[A-Za-z0-9#@][A-Za-z0-9._#@]{0,15}"
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


_PARTS = re.compile(r"[0-9]+|[A-Za-z]+")
_PREFIXES = frozenset({"sc", "scn", "scene", "sh", "shot"})
"""What people write before a scene's number without meaning more by it. Common practice, no
source."""


@lru_cache(maxsize=1 << 16)
def alike(code: str) -> str:
    """What a code comes to for a reader; two codes that come to the same are easily confused.

    Capitals, separators, leading zeros and a word for scene in front count for nothing: `sc_020_A`,
    `20a` and `20A` are alike, `20` and `2.0` are not.
    """
    parts = _PARTS.findall(code.lower())
    if len(parts) > 1 and parts[0] in _PREFIXES:
        del parts[0]
    return ".".join(part.lstrip("0") or "0" for part in parts)


@lru_cache(maxsize=256)
def _compiled(shape: str) -> re.Pattern[str]:
    pattern = ""
    for part in re.findall(r"#+|@|[^#@]+", shape):
        if part == "#":
            pattern += "(?:0|[1-9][0-9]*)"
        elif part[0] == "#":
            pattern += f"[0-9]{{{len(part)}}}"
        else:
            pattern += "[A-Z]" if part == "@" else re.escape(part)
    return re.compile(pattern)


def has_shape(code: str, shape: str) -> bool:
    """Whether a code looks as a show says that its codes do.

    In a shape `#` is a number without leading zeros, several `#` are that many digits, `@` is a
    capital letter, and everything else stands for itself: `sc_020_A` has the shape `sc_###_@`.
    """
    return _compiled(shape).fullmatch(code) is not None
