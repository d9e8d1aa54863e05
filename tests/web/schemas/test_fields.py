"""Each kind's field: what it takes, what it refuses, and that the remedy is named."""

from math import nextafter
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from service.vocabulary import kinds
from service.vocabulary.facts.routes import RouteDepartment
from service.vocabulary.quantities import to_e4
from service.web.schemas.fields import field_of
from service.web.schemas.messages import pointed
from tests.properties import tried

LISTING = kinds.Listing(kinds.Choice(("left", "right")), 1, 2)
TABLE = kinds.Table(kinds.Quantity(1, 20_000))


def errors_of(kind: kinds.Kind, value: Any) -> list[tuple[str, str, str]]:
    field = field_of(kind, required=True)
    try:
        field.deserialize(value, "it", {})
    except ValidationError as error:
        return [tuple(found) for found in pointed(error.messages, "/it", field)]  # type: ignore[misc]  # a named tuple of three
    return []


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (kinds.Text(5), "äöü\n."),
        (kinds.Label(3), "abc"),
        (kinds.CODE, "K-7.b_2"),
        (kinds.DEPARTMENT, "ink-and-paint"),
        (kinds.ITEM, "LANTERN-104/42A"),
        (kinds.Choice(("a", "b")), "b"),
        (kinds.Flag(), False),
        (kinds.Whole(0, 3), 3),
        (kinds.Whole(0, 3), 3.0),
        (kinds.Quantity(1, 10_000), 0.0001),
        (kinds.Quantity(1, 10_000), 1),
        (kinds.Quantity(0, 10**9), 12345.6789),
        (kinds.Day(), "2032-02-29"),
        (kinds.Moment(), "2031-03-04T09:30:00.123456+05:45"),
        (kinds.ClockTime(), "23:59"),
        (LISTING, ["left", "right"]),
        (TABLE, {"clean-up": 1.5}),
        (TABLE, {}),
        (kinds.Group(RouteDepartment), {"department": "a", "grain": "scene", "unit": "feet"}),
        (
            kinds.Group(RouteDepartment),
            {"department": "a", "grain": "scene", "unit": "feet", "colour": {"any": None}},
        ),
    ],
)
def test_what_a_kind_allows_passes(kind: kinds.Kind, value: Any) -> None:
    assert errors_of(kind, value) == []


@pytest.mark.parametrize(
    ("kind", "value", "code"),
    [
        (kinds.Text(5), "", "not-text"),
        (kinds.Text(5), "123456", "not-text"),
        (kinds.Text(5), 7, "not-text"),
        (kinds.Label(3), ["a"], "not-text"),
        (kinds.CODE, "-a", "wrong-form"),
        (kinds.CODE, "a" * 65, "wrong-form"),
        (kinds.DEPARTMENT, "Layout", "wrong-form"),
        (kinds.DEPARTMENT, "layout\n", "wrong-form"),
        (kinds.DEPARTMENT, "läyout", "wrong-form"),
        (kinds.SCENE, "LANTERN-104", "wrong-form"),
        (kinds.Choice(("a", "b")), "c", "not-a-choice"),
        (kinds.Choice(("a", "b")), {"a": 1}, "not-a-choice"),
        (kinds.Flag(), 1, "not-a-flag"),
        (kinds.Flag(), "true", "not-a-flag"),
        (kinds.Whole(0, 3), True, "not-a-whole"),
        (kinds.Whole(0, 3), 2.5, "not-a-whole"),
        (kinds.Whole(0, 3), "2", "not-a-whole"),
        (kinds.Whole(0, 3), 4, "not-a-whole"),
        (kinds.Whole(0, 3), -1, "not-a-whole"),
        (kinds.Quantity(1, 10_000), 0, "not-a-quantity"),
        (kinds.Quantity(1, 10_000), 1.0001, "not-a-quantity"),
        (kinds.Quantity(1, 10_000), 0.00001, "not-a-quantity"),
        (kinds.Quantity(1, 10_000), True, "not-a-quantity"),
        (kinds.Quantity(1, 10_000), "0.5", "not-a-quantity"),
        (kinds.Day(), "2031-02-29", "not-a-date"),
        (kinds.Day(), "20310301", "not-a-date"),
        (kinds.Day(), "2031-W10-2", "not-a-date"),
        (kinds.Day(), "9999-12-31", "not-a-date"),
        (kinds.Day(), "0000-01-01", "not-a-date"),
        (kinds.Day(), "2031-03-01T00:00:00Z", "not-a-date"),
        (kinds.Day(), "\uff12031-03-01", "not-a-date"),
        (kinds.Moment(), "2031-03-04T09:30:00", "not-an-instant"),
        (kinds.Moment(), "2031-03-04 09:30:00Z", "not-an-instant"),
        (kinds.Moment(), "2031-03-04T09:30:60Z", "not-an-instant"),
        (kinds.Moment(), "2031-03-04T09:30:00+24:00", "not-an-instant"),
        (kinds.Moment(), "9999-12-31T23:59:59-23:59", "not-an-instant"),
        (kinds.Moment(), "0001-01-01T00:00:00+23:59", "not-an-instant"),
        (kinds.Moment(), 1_900_000_000, "not-an-instant"),
        (kinds.ClockTime(), "24:00", "not-a-wall-time"),
        (kinds.ClockTime(), "9:00", "not-a-wall-time"),
        (kinds.ClockTime(), 900, "not-a-wall-time"),
        (LISTING, [], "not-a-list"),
        (LISTING, ["left"] * 3, "not-a-list"),
        (LISTING, "left", "not-a-list"),
        (LISTING, {"left": 1}, "not-a-list"),
        (TABLE, [["layout", 1]], "not-a-table"),
        (kinds.Group(RouteDepartment), "layout", "not-an-object"),
        (kinds.Group(RouteDepartment), [], "not-an-object"),
    ],
)
def test_what_a_kind_does_not_allow_is_refused(kind: kinds.Kind, value: Any, code: str) -> None:
    found = errors_of(kind, value)
    assert [(pointer, found_code) for pointer, _, found_code in found][:1] == [("/it", code)]
    assert found[0][1].startswith("Write ")


@pytest.mark.parametrize(
    "kind",
    [kinds.Text(), kinds.CODE, kinds.Flag(), kinds.Whole(0, 1), kinds.Day(), LISTING, TABLE],
)
def test_null_is_refused_with_the_remedy(kind: kinds.Kind) -> None:
    assert errors_of(kind, None) == [
        ("/it", "null says nothing here: leave the member out.", "null")
    ]


AMOUNTS = st.floats(0, 10_000_000) | st.integers(0, 10**11).map(lambda amount: amount / 10**4)


@tried(500)
@given(
    AMOUNTS
    | st.tuples(AMOUNTS, st.sampled_from([-1, 1])).map(lambda a: abs(nextafter(a[0], a[1] * 10**9)))
)
def test_a_quantity_is_taken_just_where_the_core_can_hold_it(amount: float) -> None:
    try:
        held = to_e4(amount) <= kinds.AMOUNT.most_e4
    except ValueError:
        held = False
    assert (errors_of(kinds.AMOUNT, amount) == []) == held


def test_errors_inside_lists_tables_and_groups_point_there() -> None:
    found = errors_of(LISTING, ["left", "up"])
    assert [(pointer, code) for pointer, _, code in found] == [("/it/1", "not-a-choice")]
    found = errors_of(TABLE, {"a/B": 1, "layout": 3, "camera": None})
    assert {(pointer, code) for pointer, _, code in found} == {
        ("/it/a~1B", "wrong-form"),
        ("/it/layout", "not-a-quantity"),
        ("/it/camera", "null"),
    }
    found = errors_of(
        kinds.Group(RouteDepartment),
        {"department": 1, "unit": "feet", "follows": [{"department": "a", "strands": ["b"]}]},
    )
    assert {(pointer, code) for pointer, _, code in found} == {
        ("/it/department", "wrong-form"),
        ("/it/grain", "missing"),
        ("/it/follows/0/strands/0", "not-a-choice"),
    }
