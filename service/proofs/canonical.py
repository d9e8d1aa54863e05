"""RFC 8785 bytes of JSON values, and the hashes made of them."""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from hashlib import sha256
from typing import Any, NamedTuple

import orjson
import rfc8785

LATE_FIRST = "personal"
LATE_LAST = "salt"
"""What the log sets in an event stands together in the order of names, nothing of it between."""
SALT = LATE_LAST
"""The member of a recorded body that is random. Bodies that earlier releases recorded have none."""

MAY_COMMIT = b'"personal":"'
"""What recorded bytes have that commit to personal text; the data of a fact may have it too."""

_NAME = re.compile(r"[a-z0-9]+")
_SHOWN_CHARS_MAX = 60
_INTEGER_MAX = 2**53 - 1
_PLAIN_DECIMAL_MIN = 1e-4
_PLAIN_DECIMAL_MAX = 1e15


class CanonicalError(ValueError):
    """A value has no RFC 8785 form; the message names the member by its JSON pointer."""


class Prepared(NamedTuple):
    """An object encoded but for a gap among its names, into which late members go.

    `before` opens the object and ends with a comma if it has members; `after` closes it.
    """

    before: bytes
    after: bytes


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
    that RFC 8785 asks for is the plain one, and none lies from LATE_FIRST to LATE_LAST. Raises
    `CanonicalError`.
    """
    first, last, between = _sides(tuple(members))
    if between and _is_split_by_name(members, first, last):
        try:
            whole = orjson.dumps(members, option=orjson.OPT_SORT_KEYS)
        except TypeError:
            pass  # what cannot be encoded is told below
        else:
            at = whole.rindex(between) + 1
            return Prepared(whole[:at], whole[at:])
    before = {name: members[name] for name in first}
    after = {name: members[name] for name in last}
    return Prepared(
        canonical(before)[:-1] + b"," if before else b"{", canonical(after)[1:] if after else b"}"
    )


def _is_split_by_name(
    members: Mapping[str, object], first: tuple[str, ...], last: tuple[str, ...]
) -> bool:
    """Whether the fast encoder may write all members, and the last are texts.

    In a text a quotation mark has a backslash before it, so the name of the first of the last
    members, with its marks, stands nowhere behind itself.
    """
    if type(members) is not dict:
        return False
    for name in last:
        if type(members[name]) is not str:
            return False
    for name in first:
        value = members[name]
        if type(value) is not str and not _is_simple(value):
            return False
    return True


def late(**members: object) -> bytes:
    """Late members encoded, for `splice`. Their names lie from LATE_FIRST to LATE_LAST.

    Raises `CanonicalError`.
    """
    return b",".join([_late_name(name) + _placed(name, members[name]) for name in sorted(members)])


def late_whole(name: str, value: int) -> bytes:
    """The same of one integer, for what is done at each event. Raises `CanonicalError`."""
    if not -_INTEGER_MAX <= value <= _INTEGER_MAX:
        raise CanonicalError(f"in /{name}, {value} is beyond 2**53 - 1")
    return b"%b%d" % (_late_name(name), value)


def splice(prepared: Prepared, *late_members: bytes) -> bytes:
    """The RFC 8785 bytes of a prepared object with late members, given in order of their names.

    Equal to `canonical` of the whole. There must be some: an object without is not prepared.
    """
    before, after = prepared
    if after == b"}":
        return before + b",".join(late_members) + after
    return b"%b%b,%b" % (before, b",".join(late_members), after)


def settle(prepared: Prepared, late_member: bytes) -> Prepared:
    """The prepared object with one late member in it; those still to come have later names."""
    return Prepared(prepared.before + late_member + b",", prepared.after)


def settle_last(prepared: Prepared, late_member: bytes) -> Prepared:
    """The prepared object with one late member in it; those still to come have earlier names."""
    before, after = prepared
    return Prepared(before, late_member + (after if after == b"}" else b"," + after))


def late_salt(salt: bytes) -> bytes:
    """The late member `salt`, in hexadecimal.

    It is random and makes a leaf's hash tell nothing to who has the rest of the body and lacks the
    salt, however few the values are that a member can have.
    """
    return b'"salt":"%b"' % salt.hex().encode()


def content_hash(prepared: Prepared, personal: Iterable[str]) -> bytes:
    """SHA-256 of the prepared object with the names of its personal members, 32 bytes.

    They are put in as the member `personal`, sorted.
    """
    return sha256(splice(prepared, _names(tuple(personal)))).digest()


@lru_cache(maxsize=1024)  # the same few members of the same few types
def _names(personal: tuple[str, ...]) -> bytes:
    return late(personal=sorted(personal))


def commits(members: Mapping[str, object]) -> bool:
    """Whether a recorded event commits to personal text that is kept beside it."""
    return LATE_FIRST in members


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
    if kind is dict:
        return _has_simple_members(value)  # type: ignore[arg-type]  # narrowed by kind
    if kind is list:
        return all(map(_is_simple, value))  # type: ignore[call-overload]  # as above
    if kind is int:
        return -_INTEGER_MAX <= value <= _INTEGER_MAX  # type: ignore[operator]  # as above
    if isinstance(value, float):
        return (
            kind is float
            and _PLAIN_DECIMAL_MIN <= abs(value) < _PLAIN_DECIMAL_MAX
            and not value.is_integer()
        )
    return kind is str or kind is bool or value is None


def _has_simple_members(members: dict[object, object]) -> bool:
    for name, part in members.items():
        if type(name) is not str or not name.isascii():
            return False
        if type(part) is not str and not _is_simple(part):
            return False
    return True


@lru_cache(maxsize=4096)
def _sides(names: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...], bytes]:
    """The names before late members, those behind, and what stands between them; else empty."""
    for name in names:
        _check_name(name)
        if LATE_FIRST <= name <= LATE_LAST:
            raise CanonicalError(f"/{name}: is given late")
    first = tuple(name for name in names if name < LATE_FIRST)
    last = tuple(name for name in names if name > LATE_LAST)
    return first, last, b',"%b":' % min(last).encode("ascii") if first and last else b""


@lru_cache(maxsize=64)
def _late_name(name: str) -> bytes:
    _check_name(name)
    if not LATE_FIRST <= name <= LATE_LAST:
        raise CanonicalError(f"/{name}: is not given late")
    return b'"%b":' % name.encode("ascii")


def _check_name(name: str) -> None:
    if not _NAME.fullmatch(name):
        raise CanonicalError(f"{name!r}: a member name is lower-case ASCII letters and digits")


def _placed(name: str, value: object) -> bytes:
    try:
        return canonical(value)
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
