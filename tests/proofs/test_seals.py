"""Seals: HMAC-SHA256 as others compute it, and no two lists of values alike."""

import hashlib
import hmac

from hypothesis import given
from hypothesis import strategies as st

from service.proofs.seals import holds, seal

KEY = bytes(range(32))
VALUES = st.lists(
    st.one_of(st.none(), st.integers(), st.text(max_size=4), st.binary(max_size=4)), max_size=4
)


def test_it_is_what_it_says() -> None:
    packed = b"6:tclock" + b"6:tpaper" + b"3:i17" + b"1:-" + b"3:b\x00\xff"
    wanted = hmac.new(KEY, packed, hashlib.sha256).digest()
    assert seal(KEY, "clock", "paper", 17, None, b"\x00\xff") == wanted
    assert holds(KEY, wanted, "clock", "paper", 17, None, b"\x00\xff")
    assert not holds(bytes(32), wanted, "clock", "paper", 17, None, b"\x00\xff")
    assert not holds(KEY, None, "clock")


@given(VALUES, VALUES)
def test_only_the_same_values_are_sealed_alike(one: list[object], other: list[object]) -> None:
    same = [(type(value), value) for value in one] == [(type(value), value) for value in other]
    assert (seal(KEY, "x", *one) == seal(KEY, "x", *other)) == same  # type: ignore[arg-type]  # drawn so
