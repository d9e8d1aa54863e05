"""A quick yes for events that are plainly in order; whatever else there is, the schemas judge.

Made from the same kinds as the schemas. It may fail to see that an event is in order, never the
other way round: what it accepts, the schemas find nothing wrong with.
"""

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.quantities import ONE_E4
from service.web.schemas.envelope import URI_REFERENCE

Accepts = Callable[[Any], bool]

_REQUIRED = frozenset({"specversion", "id", "source", "type", "subject", "time", "data"})
_ID = re.compile(r"[ -~]{1,256}")
_SOURCE = re.compile(URI_REFERENCE)
_DATE = (
    r"20\d\d-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12]\d|3[01])|(?:0[469]|11)-(?:0[1-9]|[12]\d|30)"
    r"|02-(?:0[1-9]|1\d|2[0-8]))"
)
_DAY = re.compile(_DATE, re.ASCII)
_MOMENT = re.compile(
    _DATE + r"T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{1,6})?(?:Z|[+-](?:0\d|1\d):[0-5]\d)",
    re.ASCII,
)
_CLOCK = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d", re.ASCII)


def is_plain(members: object) -> bool:
    """Whether an event is seen at once to be in order."""
    if type(members) is not dict or members.keys() != _REQUIRED:
        return False
    accepted = _FACTS.get(members["type"]) if type(members["type"]) is str else None
    if accepted is None:
        return False
    subject, source, id_ = members["subject"], members["source"], members["id"]
    if not (type(subject) is type(source) is type(id_) is str):
        return False
    parsed = parse_subject(subject)
    return (
        members["specversion"] == "1.0"
        and parsed is not None
        and parsed.form in accepted[0]
        and _is_source(source)
        and _ID.fullmatch(id_) is not None
        and type(members["time"]) is str
        and _is_moment(members["time"])
        and accepted[1](members["data"])
    )


def _matches(pattern: re.Pattern[str], length_max: int = 256) -> Accepts:
    fullmatch = pattern.fullmatch
    return lambda value: (
        type(value) is str and len(value) <= length_max and fullmatch(value) is not None
    )


# the same few sources and instants come again and again
@lru_cache(maxsize=1 << 10)
def _is_source(text: str) -> bool:
    return 0 < len(text) <= 256 and _SOURCE.fullmatch(text) is not None


@lru_cache(maxsize=1 << 14)
def _is_moment(text: str) -> bool:
    return len(text) <= 64 and _MOMENT.fullmatch(text) is not None


def _group(cls: type) -> Accepts:
    """A nested object: every member it must have, and none that it does not name."""
    known = {member.name: _accepts(member.kind) for member in kinds.members(cls)}
    required = frozenset(member.name for member in kinds.members(cls) if member.required)

    def accepts(value: Any) -> bool:
        if type(value) is not dict or not value.keys() >= required:
            return False
        for name, inner in value.items():
            fits = known.get(name)
            if fits is None or not fits(inner):
                return False
        return True

    return accepts


def _listing(kind: kinds.Listing) -> Accepts:
    fits = _accepts(kind.of)
    return lambda value: (
        type(value) is list and kind.least <= len(value) <= kind.most and all(map(fits, value))
    )


def _table(kind: kinds.Table) -> Accepts:
    names, fits = _accepts(kinds.DEPARTMENT), _accepts(kind.of)
    return lambda value: (
        type(value) is dict and all(map(names, value)) and all(map(fits, value.values()))
    )


def _quantity(kind: kinds.Quantity) -> Accepts:
    least, most = kind.least_e4 / ONE_E4, kind.most_e4 / ONE_E4
    return lambda value: (
        type(value) in (int, float) and least <= value <= most and round(value, 4) == value
    )


def _choice(kind: kinds.Choice) -> Accepts:
    among = frozenset(kind.among)
    return lambda value: type(value) is str and value in among


def _text(kind: kinds.Text | kinds.Label) -> Accepts:
    return lambda value: type(value) is str and 0 < len(value) <= kind.length_max


_MAKERS: Mapping[type, Callable[[Any], Accepts]] = {
    kinds.Text: _text,
    kinds.Label: _text,
    kinds.Code: lambda kind: _matches(re.compile(kind.pattern), kind.length_max),
    kinds.Choice: _choice,
    kinds.Flag: lambda _: lambda value: type(value) is bool,
    kinds.Whole: lambda kind: lambda value: type(value) is int and kind.least <= value <= kind.most,
    kinds.Quantity: _quantity,
    kinds.Money: lambda kind: _matches(re.compile(kind.pattern)),
    kinds.Day: lambda _: _matches(_DAY),
    kinds.Moment: lambda _: _matches(_MOMENT),
    kinds.ClockTime: lambda _: _matches(_CLOCK),
    kinds.Listing: _listing,
    kinds.Table: _table,
    kinds.Group: lambda kind: _group(kind.of),
}


def _accepts(kind: kinds.Kind) -> Accepts:
    return _MAKERS[type(kind)](kind)


_FACTS = {type_: (fact.SUBJECTS, _group(fact)) for type_, fact in CATALOGUE.items()}
