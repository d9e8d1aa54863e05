"""The strict reader: what it refuses and where, and that it reads the rest as `json` does."""

import json
from typing import Any

import orjson
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.web.strict_json import Limits, Unreadable, _examine, read
from tests.properties import tried


def refused(raw: bytes, **limits: int) -> Unreadable:
    found = read(raw, Limits(**limits))
    assert isinstance(found, Unreadable), found
    return found


@pytest.mark.parametrize(
    ("raw", "pointer", "code"),
    [
        (b'{"a": 1, "b": {"c": 1, "c": 2}}', "/b/c", "duplicate-name"),
        (b'[{}, {"a/b": 1, "a\\/b": 1}]', "/1/a~1b", "duplicate-name"),
        (b'{"a": [1, NaN]}', "/a/1", "not-a-number"),
        (b'{"a": -Infinity}', "/a", "not-a-number"),
        (b'{"a": Infinity}', "/a", "not-a-number"),
        (b'{"a": 1e400}', "/a", "number-out-of-range"),
        (b'{"a": 9007199254740992}', "/a", "number-out-of-range"),
        (b'{"a": -9007199254740992}', "/a", "number-out-of-range"),
        (b'{"a": 1e17}', "/a", "number-out-of-range"),
        (b'{"a": ' + b"9" * 5000 + b"}", "/a", "number-out-of-range"),
        (b'{"a": {"b~": "x\\u0000y"}}', "/a/b~0", "nul-character"),
        (b'{"a\\u0000": 1}', "", "nul-character"),
        (b'[["\\ud800"]]', "/0/0", "lone-surrogate"),
        (b'["\\uDC00\\uD800"]', "/0", "lone-surrogate"),
        (b'{"\\udfff": 1}', "", "lone-surrogate"),
        (b'{"a": ' + b"[" * 40 + b"]" * 40 + b"}", "/a" + "/0" * 31, "too-deep"),
        (b"[" * 100_000 + b"]" * 100_000, "", "too-deep"),
        (b"[" * 100_000, "", "too-deep"),
        (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "", "too-deep"),
    ],
)
def test_each_fault_is_refused_with_its_place(raw: bytes, pointer: str, code: str) -> None:
    found = refused(raw)
    assert (found.errors[0].pointer, found.errors[0].code) == (pointer, code)
    assert not found.too_large


def test_all_faults_are_reported_at_once() -> None:
    found = refused(b'{"a": NaN, "b": "\\u0000", "a": [9007199254740993, "\\udead"]}')
    assert [(error.pointer, error.code) for error in found.errors] == [
        ("/a", "duplicate-name"),
        ("/a", "not-a-number"),
        ("/b", "nul-character"),
        ("/a/0", "number-out-of-range"),
        ("/a/1", "lone-surrogate"),
    ]


@pytest.mark.parametrize(
    ("raw", "place"),
    [
        (b"", "line 1, column 1"),
        (b'{"a": 1,}', "line 1"),
        (b'{"a": 1}\n x', "line 2, column 2"),
        (b'{"a": "\x00"}', "line 1, column 8"),
        (b'{"a": "\xff"}', "byte 7"),
        (b'{"a": "\xed\xa0\x80"}', "byte 7"),
        (b"\xef\xbb\xbf{}", "byte order mark"),
        ('{"a": 1}'.encode("utf-16"), "not UTF-8"),
        (b"01", "line 1"),
        (b"NaN x", "line 1, column 5"),
        (b"{'a': 1}", "line 1"),
    ],
)
def test_what_is_not_json_is_refused_with_its_place(raw: bytes, place: str) -> None:
    assert place in refused(raw).detail


def test_a_body_beyond_the_limit_is_too_large() -> None:
    assert read(b"[1]", Limits(bytes_max=3)) == [1]
    found = refused(b"[12]", bytes_max=3)
    assert found.too_large
    assert "4 bytes" in found.detail


def test_a_body_of_too_many_values_is_too_large_however_few_its_bytes() -> None:
    assert read(b"[1,[],{}]", Limits(values_max=5)) == [1, [], {}]
    found = refused(b"[1,[],{}]", values_max=4)
    assert found.too_large
    assert "5 commas and opening brackets; at most 4" in found.detail
    assert refused(b"[" + b",".join([b"[]"] * 60_000) + b"]").too_large


def test_the_allowed_depth_is_reached_and_not_passed() -> None:
    assert read(b"[" * 32 + b"]" * 32) is not None
    assert refused(b"[" * 33 + b"]" * 33).errors[0].code == "too-deep"
    wide = b'{"a":[' + b",".join([b"[[]]"] * 100) + b"]}"
    assert read(wide, Limits(depth_max=4)) == json.loads(wide)
    assert refused(wide, depth_max=3).errors[0].pointer == "/a/0/0"


@pytest.mark.parametrize(
    "raw",
    [
        b'{"a": "\\\\u0000", "b": "\\\\\\\\ud800"}',
        b'"\\ud83c\\udfac"',
        '"\U0001f3ac"'.encode(),
        b"[9007199254740991, -9007199254740991, -0, 1.5e3]",
        b'"' + b"[" * 50 + b'"',
        b'["\\"' + b"[{" * 50 + b'\\\\"]',
    ],
)
def test_what_only_looks_wrong_is_read(raw: bytes) -> None:
    assert read(raw) == json.loads(raw)


TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(-1e15, 1e15)
    | TEXTS
    | st.sampled_from(["[", "{", '"', "\\", '\\"', "\\u0000"]),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(TEXTS, inner, max_size=5),
    max_leaves=40,
)


@tried(150)
@given(VALUES, st.booleans(), st.booleans())
@example({"\\": ["[" * 40, {'"': '\\"'}]}, True, True)
def test_a_valid_document_is_read_as_json_reads_it(
    value: Any, ascii_only: bool, terse: bool
) -> None:
    separators = (",", ":") if terse else (", ", ": ")
    text = json.dumps(value, ensure_ascii=ascii_only, separators=separators)
    assert read(text.encode(), Limits(depth_max=100)) == json.loads(text)


# what a terse document may have that the fast parser alone would pass
AMISS = [b"9007199254740992", b"18446744073709551615", b"-9223372036854775808", b"1e300", b"1e999"]
AMISS += [b"1.0000000000000001", b"-0", b"NaN", b'"\\ud800"', b'"\\u0000"', b'{"a":1,"a":2}']
AMISS += [b'{"a" :1,"a":2}', b'{"a":1,"b":2,"a":":"}', b"[" * 12 + b"]" * 12, b"\xff", b"\0"]


def _carefully(raw: bytes, limits: Limits) -> object:
    """What the careful reader alone makes of it."""
    try:
        return _examine(raw.decode(), limits)
    except UnicodeDecodeError:
        return Unreadable("no UTF-8")


@tried(250)
@given(VALUES, st.sampled_from(AMISS), st.data())
def test_a_terse_document_is_read_as_any_other(value: Any, amiss: bytes, data: Any) -> None:
    raw = orjson.dumps(value)
    places = [at for at, byte in enumerate(raw) if byte in b'"[{,:']
    if places and data.draw(st.booleans()):
        at = data.draw(st.sampled_from(places))
        end = data.draw(st.integers(at, min(at + 4, len(raw))))
        raw = raw[:at] + amiss + raw[end:]
    elif data.draw(st.booleans()):
        raw = b"[" + raw + b"," + amiss + b"]"
    limits = Limits(depth_max=8)
    found, expected = read(raw, limits), _carefully(raw, limits)
    assert isinstance(found, Unreadable) == isinstance(expected, Unreadable)
    if not isinstance(found, Unreadable):
        assert repr(found) == repr(expected)


@pytest.mark.parametrize("amiss", AMISS)
def test_what_is_amiss_in_a_terse_document_is_found(amiss: bytes) -> None:
    raw = b'{"id":"x","data":[1,' + amiss + b"]}"
    found = read(raw, Limits(depth_max=8))
    if amiss in (b"-0", b"1.0000000000000001"):
        assert found == json.loads(raw)
    else:
        assert isinstance(found, Unreadable)


def levels(value: Any) -> int:
    if isinstance(value, dict):
        return 1 + max(map(levels, value.values()), default=0)
    if isinstance(value, list):
        return 1 + max(map(levels, value), default=0)
    return 0


@tried(150)
@given(VALUES, st.integers(1, 4))
def test_the_depth_is_counted_as_a_plain_count_does(value: Any, depth_max: int) -> None:
    found = read(json.dumps(value).encode(), Limits(depth_max=depth_max))
    assert isinstance(found, Unreadable) == (levels(value) > depth_max)


@tried(150)
@given(
    st.binary(max_size=60) | st.text('[]{}",:\\u0dD8 1eN.-nultrfasI', max_size=30).map(str.encode)
)
def test_any_bytes_give_a_value_or_a_refusal(raw: bytes) -> None:
    found = read(raw)
    if not isinstance(found, Unreadable):
        assert json.loads(raw) == found


def test_the_places_of_errors_come_to_a_few_times_the_document_at_most() -> None:
    """A long name with many values beneath it would else be written once for each."""
    name = "x" * 100_000
    for wrong in ("1e999", '"\\u0000"', "NaN"):
        found = read(f'{{"{name}":[{",".join([wrong] * 5000)}]}}'.encode())
        assert isinstance(found, Unreadable)
        assert 1 <= len(found.errors) <= 3
        assert found.errors[0].pointer == f"/{name}/0"
