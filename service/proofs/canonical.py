"""RFC 8785 bytes of JSON values, and the hashes made of them."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Any

import orjson
import rfc8785

_NAME = re.compile(r"[a-z0-9]+")
_SHOWN_CHARS_MAX = 60
_INTEGER_MAX = 2**53 - 1
_PLAIN_DECIMAL_MIN = 1e-4
_PLAIN_DECIMAL_MAX = 1e15


class CanonicalError(ValueError):
    """A value has no RFC 8785 form; the message names the member by its JSON pointer."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """An object whose members are encoded already, in the order of their names."""

    names: tuple[str, ...]
    members: tuple[bytes, ...]


def canonical(value: object) -> bytes:
    """The RFC 8785 bytes of a JSON value.

    Raises `CanonicalError` for what JSON or RFC 8785 cannot hold: NaN, an infinity, an integer
    beyond 2**53 - 1, a lone surrogate, a member name that is no text, nesting too deep for the
    interpreter, or a Python type that is no JSON value.
    """
    try:
        return _dumps(value)
    except rfc8785.CanonicalizationError as error:
        pointer, culprit = _find_culprit(value)
        raise CanonicalError(f"{_place(pointer)}: {_show(culprit)}: {error}") from error
    except UnicodeEncodeError as error:
        pointer, culprit = _find_culprit(value)
        raise CanonicalError(
            f"{_place(pointer)}: {_show(culprit)}: a name holds a lone surrogate"
        ) from error
    except RecursionError as error:
        raise CanonicalError("the whole value: nested too deeply to be canonicalised") from error


def prepare(members: Mapping[str, object]) -> Prepared:
    """Encode the members that are known early, so that `splice` has little left to do.

    Names are lower-case ASCII letters and digits, for which the order by UTF-16 code units
    that RFC 8785 asks for is the plain one. Raises `CanonicalError`.
    """
    names = sorted(members)
    return Prepared(tuple(names), tuple(_member(name, members[name]) for name in names))


def splice(prepared: Prepared, **late_members: object) -> bytes:
    """The RFC 8785 bytes of the prepared object together with the late members.

    Equal to `canonical` of the whole. Raises `CanonicalError`, also for a name given twice.
    """
    known = dict(zip(prepared.names, prepared.members, strict=True))
    for name, value in late_members.items():
        if name in known:
            raise CanonicalError(f"/{name}: given both early and late")
        known[name] = _member(name, value)
    return b"{" + b",".join([known[name] for name in sorted(known)]) + b"}"


def content_hash(prepared: Prepared, **late_members: object) -> bytes:
    """SHA-256 of the spliced object's canonical bytes, 32 bytes. Raises `CanonicalError`."""
    return sha256(splice(prepared, **late_members)).digest()


def commitment(salt: bytes, personal: object) -> str:
    """Hex SHA-256 of the salt followed by the canonical bytes of the personal text.

    The salt keeps a short text (a name, a yes) from being guessed out of the commitment once
    the text itself has been removed. Raises `CanonicalError`.
    """
    return sha256(salt + canonical(personal)).hexdigest()


def _dumps(value: Any) -> bytes:
    # The package takes no mapping but a dict; the outermost one is made a dict here.
    whole = dict(value) if isinstance(value, Mapping) else value
    if _is_simple(whole):
        try:
            return orjson.dumps(whole, option=orjson.OPT_SORT_KEYS)
        except TypeError:  # a lone surrogate, or too deep: the package below says so
            pass
    return rfc8785.dumps(whole)


def _is_simple(value: object) -> bool:
    """Whether the fast encoder's bytes are those of RFC 8785, at a twentieth of the time.

    The two differ in how floats are written outside the range of plain decimals, in the order
    of names beyond ASCII, in integers beyond 2**53 - 1, and in which Python types they take.
    """
    kind = type(value)
    if kind is str or kind is bool or value is None:
        return True
    if kind is int:
        return -_INTEGER_MAX <= value <= _INTEGER_MAX  # type: ignore[operator]  # narrowed by kind
    if isinstance(value, dict):
        return kind is dict and all(
            type(name) is str and name.isascii() and _is_simple(part)
            for name, part in value.items()
        )
    if isinstance(value, list):
        return kind is list and all(map(_is_simple, value))
    if isinstance(value, float):
        return (
            kind is float
            and _PLAIN_DECIMAL_MIN <= abs(value) < _PLAIN_DECIMAL_MAX
            and not value.is_integer()
        )
    return False


@lru_cache(maxsize=1024)
def _named(name: str) -> bytes:
    if not _NAME.fullmatch(name):
        raise CanonicalError(f"{name!r}: a member name is lower-case ASCII letters and digits")
    return b'"%b":' % name.encode("ascii")


def _member(name: str, value: object) -> bytes:
    named = _named(name)
    try:
        if type(value) is str:  # most members are, and one in order needs no more than quoting
            return named + orjson.dumps(value)
        if type(value) is int and -_INTEGER_MAX <= value <= _INTEGER_MAX:
            return named + b"%d" % value
    except TypeError:
        pass  # a lone surrogate, of which `canonical` says where it stands
    try:
        return named + canonical(value)
    except CanonicalError as error:
        raise CanonicalError(f"in /{name}, {error}") from error


def _find_culprit(value: object) -> tuple[str, object]:
    """The JSON pointer of the innermost part that cannot be encoded, and that part."""
    pointer = ""
    while True:
        parts: Iterable[tuple[object, object]] = ()
        if isinstance(value, Mapping):
            parts = value.items()
        elif isinstance(value, list | tuple):
            parts = enumerate(value)
        for name, part in parts:
            name_stands = isinstance(name, int) or (isinstance(name, str) and _encodes(name))
            if isinstance(value, Mapping) and (isinstance(name, int) or not name_stands):
                return f"{pointer}/{_step(name)}", name
            if not _encodes(part):
                value, pointer = part, f"{pointer}/{_step(name)}"
                break
        else:
            return pointer, value


def _encodes(value: Any) -> bool:
    try:
        rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError):
        return False
    return True


def _step(name: object) -> str:
    text = str(name).encode("utf-8", "backslashreplace").decode("utf-8")
    return text.replace("~", "~0").replace("/", "~1")


def _place(pointer: str) -> str:
    return pointer or "the whole value"


def _show(value: object) -> str:
    text = ascii(value)
    return text if len(text) <= _SHOWN_CHARS_MAX else text[: _SHOWN_CHARS_MAX - 3] + "..."
