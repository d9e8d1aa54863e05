"""The quick check accepts nothing that the schemas refuse, and accepts all usual events."""

from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.facts import CATALOGUE
from service.web.schemas.events import judge_event
from service.web.schemas.examples import example_events
from service.web.schemas.plain import is_plain
from tests.examples import example_event

TYPES = sorted(CATALOGUE)
_ODD: list[Any] = [
    None, True, False, 0, 1, -1, 3.0, 0.00001, 1e300, 2**60, "", "\n", "a\n", "\u0000", "x" * 5000,
    "2031-02-30", "2031-03-04", "2031-03-04\n", "1999-01-01", "2031-03-04T09:30:00", "24:00",
    "2031-03-04T09:30:00+23:59", "2031-03-04T09:30:60Z", "2031-02-29T00:00:00Z", "studio",
    "LANTERN", "LANTERN-104/42\n", "layout ", "Layout", [], {}, [None], {"a": None}, ["layout"],
]  # fmt: skip
odd_values = st.one_of(
    st.sampled_from(_ODD).map(deepcopy),  # a test may write into what it draws
    st.text(max_size=8),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.datetimes().map(lambda moment: moment.isoformat() + "Z"),
    st.dates().map(str),
)


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_example_is_plain(type_: str) -> None:
    assert all(is_plain(event) for event in example_events(type_))


def _places(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    found = []
    for name, part in inner:
        found.append((*at, name))
        if isinstance(part, dict | list):
            found += _places(part, (*at, name))
    return found


@given(st.data())
def test_what_is_plain_has_nothing_wrong_for_the_schemas(data: st.DataObject) -> None:
    event = data.draw(st.sampled_from(example_events(data.draw(st.sampled_from(TYPES)))))
    for _ in range(data.draw(st.integers(1, 2))):
        *way, last = data.draw(st.sampled_from(_places(event)))
        holder: Any = event
        for name in way:
            holder = holder[name]
        change = data.draw(st.sampled_from(["replace", "drop", "add"]))
        if change == "replace" or isinstance(holder, list):
            holder[last] = data.draw(odd_values)
        elif change == "drop":
            del holder[last]
        else:
            holder[data.draw(st.sampled_from(["text", "share", "unheardof", ""]))] = data.draw(
                odd_values
            )
        if not isinstance(event.get("data"), dict):
            break
    if is_plain(event):
        assert judge_event(event) == []


@given(st.sampled_from(sorted(CATALOGUE)), odd_values)
def test_another_envelope_is_left_to_the_schemas(type_: str, value: Any) -> None:
    event = example_event(type_)
    for name in event:
        changed = {**event, name: value}
        if is_plain(changed):
            assert judge_event(changed) == []
    assert not is_plain({**event, "traceparent": "x"})
