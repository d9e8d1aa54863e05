"""Canonical bytes: the fast path, splicing, and errors that name the culprit."""

import math
from hashlib import sha256
from types import MappingProxyType

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.canonical import (
    LATE_FIRST,
    LATE_LAST,
    CanonicalError,
    canonical,
    commitment,
    content_hash,
    late,
    late_salt,
    late_whole,
    prepare,
    settle,
    settle_last,
    splice,
)

INTEGERS = st.integers(-(2**53) + 1, 2**53 - 1)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
SCALARS = (
    st.none()
    | st.booleans()
    | INTEGERS
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(-(10**9), 10**9).map(lambda e4: e4 / 10_000)
    | TEXT
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)
NAMES = st.from_regex(r"[a-z0-9]{1,8}", fullmatch=True)
EARLY = NAMES.filter(lambda name: not LATE_FIRST <= name <= LATE_LAST)
TRICKY = st.recursive(
    st.sampled_from(
        ['","source":"', ',"source":', '\\","source":', '\\\\"', "source", '"', "\\", 1, 0.5]
    )
    | st.text('",source:\\\\{}', max_size=14),
    lambda inner: st.dictionaries(st.sampled_from(["source", "type", ","]), inner, max_size=2),
    max_leaves=4,
)
LATE = st.sampled_from(["personal", "position", "poster", "prior", "q", "recordedat", "salt"])


@given(VALUES)
def test_equals_the_reference_package(value: object) -> None:
    assert canonical(value) == rfc8785.dumps(value)  # type: ignore[arg-type]  # any JSON value


def test_every_control_character_and_escape_is_written_as_the_rfc_has_it() -> None:
    for code in [*range(0x100), 0x2028, 0x2029, 0xFFFD, 0x1F600]:
        assert canonical({"a": chr(code)}) == rfc8785.dumps({"a": chr(code)})


@given(
    st.dictionaries(EARLY, VALUES, max_size=6),
    st.dictionaries(LATE, VALUES, min_size=1, max_size=4),
    st.integers(0, 3),
)
def test_splice_equals_canonical_of_the_whole(
    early: dict[str, object], given_late: dict[str, object], settled: int
) -> None:
    parts = [late(**{name: value}) for name, value in sorted(given_late.items())]
    prepared = prepare(early)
    for part in parts[:-1][:settled]:
        prepared = settle(prepared, part)
    whole = canonical({**early, **given_late})
    assert splice(prepared, *parts[:-1][settled:], parts[-1]) == whole
    assert splice(prepare(early), late(**given_late)) == whole
    salted = settle_last(prepare(early), late_salt(bytes(16)))
    before = {name: value for name, value in given_late.items() if name != "salt"} or {"q": 1}
    assert splice(salted, late(**before)) == canonical({**early, **before, "salt": "00" * 16})


@given(
    st.dictionaries(st.sampled_from(["data", "id", "a"]), TRICKY, max_size=3),
    st.dictionaries(st.sampled_from(["source", "subject", "type"]), TRICKY, max_size=3),
)
def test_text_that_looks_like_members_is_not_taken_for_them(
    first: dict[str, object], last: dict[str, object]
) -> None:
    members = {**last, **first}
    whole = canonical({**members, "position": 1})
    assert splice(prepare(members), late_whole("position", 1)) == whole


@given(INTEGERS)
def test_a_late_integer_is_written_as_any_late_member(value: int) -> None:
    assert late_whole("position", value) == late(position=value)


def test_a_late_integer_has_its_bounds_and_its_name() -> None:
    for value in (2**53, -(2**53)):
        with pytest.raises(CanonicalError, match=r"in /position, .* beyond"):
            late_whole("position", value)
    with pytest.raises(CanonicalError, match="/source: is not given late"):
        late_whole("source", 1)


def test_splice_puts_position_recordedat_and_poster_in_their_places() -> None:
    prepared = prepare({"specversion": "1.0", "id": "7", "data": {"b": 1, "a": [2.5]}, "zone": "x"})
    by = late(recordedat="2026-01-05T10:00:00Z", poster="p")
    assert splice(prepared, late(position=12), by) == (
        b'{"data":{"a":[2.5],"b":1},"id":"7","position":12,"poster":"p",'
        b'"recordedat":"2026-01-05T10:00:00Z","specversion":"1.0","zone":"x"}'
    )


@pytest.mark.parametrize("name", ["personal", "position", "recordedat", "salt"])
def test_what_is_given_late_cannot_be_prepared(name: str) -> None:
    with pytest.raises(CanonicalError, match=f"/{name}: is given late"):
        prepare({name: 1})


@pytest.mark.parametrize("name", ["id", "persona", "salt0", "source"])
def test_what_is_not_given_late_cannot_be_spliced(name: str) -> None:
    with pytest.raises(CanonicalError, match=f"/{name}: is not given late"):
        late(**{name: 1})


@pytest.mark.parametrize("name", ["", "hook-up", "Data", "é", "recorded_at", 'a"b'])
def test_only_simple_names_can_be_prepared(name: str) -> None:
    with pytest.raises(CanonicalError, match="lower-case ASCII letters and digits"):
        prepare({name: 1})


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ({"data": {"share": math.nan}}, "/data/share: nan"),
        ({"data": [1, {"work": math.inf}]}, "/data/1/work: inf"),
        ({"n": 2**53}, "/n: 9007199254740992"),
        ({"text": "\ud800"}, r"/text: '\\ud800'"),
        ({"a": {"\udc00": 1}}, r"/a/\\udc00"),
        ({"a": {"x/y~z": object}}, "/a/x~1y~0z: <class 'object'>"),
        ({"a": {3: 1}}, "/a/3: 3: object keys must be strings"),
        ({"a": {1, 2}}, r"/a: \{1, 2\}"),
        (math.nan, "the whole value: nan"),
    ],
)
def test_the_error_names_what_cannot_be_canonicalised(value: object, message: str) -> None:
    with pytest.raises(CanonicalError, match=message):
        canonical(value)


def test_nesting_beyond_the_interpreter_is_an_error_not_a_crash() -> None:
    value: object = 1.0
    for _ in range(100_000):
        value = [value]
    with pytest.raises(CanonicalError, match="nested too deeply"):
        canonical(value)


def test_an_error_in_a_member_names_the_member() -> None:
    with pytest.raises(CanonicalError, match="/data/share: nan"):
        prepare({"data": {"share": math.nan}})
    with pytest.raises(CanonicalError, match=r"in /poster, the whole value: .*ud800"):
        late(poster="\ud800")


def test_content_hash_is_that_of_the_canonical_bytes_whatever_the_order() -> None:
    for names in ([], ["/data/a", "/data/b"]):
        whole = {"a": 1, "b": "x", "personal": names, "z": [1]}
        expected = sha256(canonical(whole)).digest()
        for members in (
            {"z": [1], "b": "x", "a": 1},
            MappingProxyType({"a": 1, "b": "x", "z": [1]}),
        ):
            assert content_hash(prepare(members), reversed(names)) == expected


def test_commitment_binds_salt_and_text() -> None:
    assert commitment(b"salt", {"text": "late again"}) == (
        sha256(b'salt{"text":"late again"}').hexdigest()
    )
    assert commitment(b"salt", "a") != commitment(b"tlas", "a")
