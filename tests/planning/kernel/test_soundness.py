"""Broken lines of every sort: each is refused by name before compiled code could trust it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.backward import latest
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import (
    DAY_MIN_MOST,
    MINUTE_LAST,
    ON_DESK,
    OUT,
    RATE_E4_MOST,
    WORK_E4_MOST,
    BrokenLineError,
    Crews,
    Hours,
    Line,
    Plan,
    Ranking,
)
from service.planning.kernel.readings import first_change, trace_back
from service.planning.kernel.soundness import problem
from service.vocabulary.calendar import NEVER
from tests.planning.kernel.test_dispatch import DAYS
from tests.planning.lines import Crew, Department, Row, line_of, lines
from tests.planning.naive import simulate
from tests.properties import tried

INT32_LEAST, INT64_MOST = -(2**31), 2**63 - 1


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    warm()


def sound_line() -> Line:
    """Four rows in two departments; the arcs are 0 to 1, 0 to 2 and 2 to 3."""
    rows = [
        Row(state=ON_DESK, started_min=101, work_e4=30_000),
        Row(after=[0], key=9),
        Row(1, after=[0], release_min=205),
        Row(1, after=[2], key=-4),
    ]
    two = Department([Crew(2), Crew(1, at_min=150)], DAYS)
    return line_of([Department([Crew(1)], DAYS), two], rows, now_min=102)


def with_entry(values: Any, place: int, value: int) -> Any:
    """The array with another value in one place."""
    changed = np.array(values)
    changed[place] = value
    return changed


def with_array(line: Line, array: str, values: Any) -> Line:
    """The line with another array; keys are given as a ranking."""
    arrays: dict[str, Any] = {array: Ranking(values) if array == "ranking" else values}
    return replace(line, **arrays)


def changed(line: Line, array: str, place: int, value: int) -> Line:
    return with_array(line, array, with_entry(getattr(line, array), place, value))


def refused(line: Line) -> BrokenLineError:
    """The fault that the check names in a line; no kernel may take that line."""
    with pytest.raises(BrokenLineError) as raised:
        dispatch(line)
    rows = len(line.state)
    plan = Plan(
        np.zeros(rows, np.int64),
        np.zeros(rows, np.int64),
        np.zeros(rows, np.int8),
        np.zeros(rows, np.int32),
    )
    with pytest.raises(BrokenLineError) as again:
        latest(line, plan, np.full(rows, NEVER))
    assert str(raised.value) == str(again.value)
    return raised.value


def test_a_line_that_is_sound_is_planned() -> None:
    line = sound_line()
    assert dispatch(line).start.tolist() == simulate(line)[0]


# --- what is by row, and arcs --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("array", "place", "value"),
    [
        *[("department", 2, value) for value in (2, -1, 2**31 - 1, INT32_LEAST)],
        *[("state", 1, value) for value in (3, -1, 127, -128)],
        *[("work_e4", 3, value) for value in (-1, WORK_E4_MOST + 1, INT64_MOST, -INT64_MOST)],
        *[("started_min", 0, value) for value in (-1, MINUTE_LAST + 1, NEVER, -NEVER)],
        *[("release_min", 2, value) for value in (-1, NEVER + 1, INT64_MOST, -INT64_MOST)],
    ],
)
def test_a_value_out_of_range_names_its_row(array: str, place: int, value: int) -> None:
    error = refused(changed(sound_line(), array, place, value))
    assert (error.array, error.row) == (array, place)
    assert str(error).startswith(f"{array} of row {place}: {value} is ")


@pytest.mark.parametrize(
    ("array", "place", "value"),
    [
        ("work_e4", 3, 0),
        ("work_e4", 3, WORK_E4_MOST),
        ("started_min", 0, 0),
        ("started_min", 0, MINUTE_LAST),  # on a desk by a clock that goes a little before ours
        ("started_min", 1, -1),  # it waits: nobody reads that
        ("release_min", 2, NEVER),
    ],
)
def test_the_ends_of_the_ranges_are_planned(array: str, place: int, value: int) -> None:
    line = changed(sound_line(), array, place, value)
    plan = dispatch(line)
    assert (plan.start.tolist(), plan.finish.tolist()) == simulate(line)


def test_the_first_of_several_wrong_rows_is_named() -> None:
    line = replace(sound_line(), work_e4=np.array([1, -1, 1, -2]))
    assert refused(line).row == 1


@pytest.mark.parametrize(("value", "arc", "row"), [(4, 0, 0), (-1, 1, 0), (2**31 - 1, 2, 2)])
def test_an_arc_to_no_row_names_the_row_it_comes_from(value: int, arc: int, row: int) -> None:
    error = refused(changed(sound_line(), "successor", arc, value))
    assert (error.array, error.row) == ("successor", row)


@pytest.mark.parametrize(
    ("offsets", "reason"),
    [
        ([0, 2, 2, 3], "4 entries, not 5, for 4 rows"),
        ([], "0 entries, not 5, for 4 rows"),
        ([1, 2, 2, 3, 3], "leads from 1 to 3, not from 0 to 3"),
        ([0, 2, 2, 3, 4], "leads from 0 to 4, not from 0 to 3"),
        ([0, 2, 2, 3, 2], "leads from 0 to 2, not from 0 to 3"),
        ([0, 2, 3, 2, 3], "3 is greater than that of the next row"),
        ([0, -1, 2, 3, 3], "0 is greater than that of the next row"),
        ([0, 2, 9, 3, 3], "9 is greater than that of the next row"),
    ],
)
def test_offsets_begin_at_0_never_decrease_and_end_at_the_number_of_arcs(
    offsets: list[int], reason: str
) -> None:
    error = refused(replace(sound_line(), successor_from=np.array(offsets, np.int32)))
    assert (error.array, error.reason) == ("successor_from", reason)


@pytest.mark.parametrize(
    "array", ["department", "work_e4", "started_min", "release_min", "state", "ranking"]
)
@pytest.mark.parametrize("count", [0, 3, 5])
def test_every_array_has_an_entry_for_each_row(array: str, count: int) -> None:
    line = sound_line()
    values: Any = np.resize(line.key if array == "ranking" else getattr(line, array), count)
    with pytest.raises(BrokenLineError, match=r"entries(, not \d+,)? for \d rows"):
        dispatch(with_array(line, array, values))


def test_hours_and_crews_are_of_the_same_departments() -> None:
    line, one = sound_line(), line_of([Department()], [Row()])
    assert refused(replace(line, hours=one.hours)).array == "crew_from"
    assert refused(replace(line, crews=one.crews)).reason == "1 departments, and 2 in the hours"
    both = replace(line, hours=one.hours, crews=one.crews)
    assert (refused(both).array, refused(both).row) == ("department", 2)


@pytest.mark.parametrize("now_min", [-1, MINUTE_LAST + 1, NEVER])
def test_now_is_a_minute(now_min: int) -> None:
    assert refused(replace(sound_line(), now_min=now_min)).array == "now_min"


@pytest.mark.parametrize(
    "values",
    [
        np.zeros(4, np.float64),
        np.zeros(4, np.bool_),
        np.zeros((4, 1), np.int64),
        np.zeros((), np.int64),
        np.full(4, 2**63, np.uint64),
        np.full(4, None),
    ],
    ids=lambda values: f"{values.ndim} {values.dtype}",
)
def test_arrays_are_one_row_of_integers(values: Any) -> None:
    assert refused(replace(sound_line(), work_e4=values)).array == "work_e4"


def test_an_integer_that_its_type_cannot_hold_is_not_cut_off() -> None:
    # cut to 32 bits it would be department 1, cut to 8 bits ON_DESK
    line = sound_line()
    wide = with_entry(line.department.astype(np.int64), 2, 2**32 + 1)
    assert "entry 2 is 4294967297, which is no int32" in str(
        refused(replace(line, department=wide))
    )
    wide = with_entry(line.state.astype(np.int64), 1, 257)
    assert refused(replace(line, state=wide)).array == "state"


# --- keys ----------------------------------------------------------------------------------------


@given(st.lists(st.integers(-9, 9) | st.integers(-(2**63), 2**63 - 1)))
def test_a_ranking_orders_its_rows_by_key_and_then_as_they_stand(keys: list[int]) -> None:
    ranking = Ranking(np.array(keys, np.int64))
    assert ranking.order.tolist() == sorted(range(len(keys)), key=lambda row: (keys[row], row))
    assert ranking.distinct == (len(set(keys)) == len(keys))


def test_an_order_of_other_keys_cannot_be_given_along() -> None:
    line = sound_line()
    turned = replace(line.ranking, key=-line.key)
    assert turned.order.tolist() == line.ranking.order.tolist()[::-1]
    with pytest.raises(TypeError):
        with_array(line, "key", -line.key)
    with pytest.raises((TypeError, ValueError)):
        replace(line.ranking, key=-line.key, order=line.ranking.order)


def test_who_made_a_ranking_cannot_change_it() -> None:
    keys = np.array([3, 1, 2])
    ranking = Ranking(keys)
    keys[:] = 0
    assert ranking.key.tolist() == [3, 1, 2]
    for array in (ranking.key, ranking.order):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 9


def test_keys_differ_among_what_waits_in_a_department() -> None:
    line = sound_line()
    tied = replace(line, ranking=Ranking(with_entry(line.key, 3, 2)))  # both in department 1
    assert str(refused(tied)) == "ranking of row 3: key 2 is that of row 2 too"
    for other in (
        replace(line, ranking=Ranking(with_entry(line.key, 3, 9))),  # row 1 is in department 0
        replace(line, ranking=Ranking(with_entry(line.key, 1, 0))),  # row 0 does not wait
        replace(tied, state=with_entry(line.state, 3, OUT)),
    ):
        assert dispatch(other).start.tolist() == simulate(other)[0]


# --- hours and crews -----------------------------------------------------------------------------

HOURS = {
    "window_from": [0, 2, 2, 3],
    "window_start": [10, 30, 5],
    "window_end": [20, 33, 6],
    "window_before": [0, 10, 0],
}
CREWS = {
    "crew_from": [0, 2, 2, 3],
    "crew_at_min": [-9, 30, 5],
    "crew_artists": [1, 0, 2**31 - 1],
    "crew_rate_e4": [RATE_E4_MOST, 0, 1],
    "crew_day_min": [0, DAY_MIN_MOST, 480],
}


def hours_of(**arrays: Sequence[int]) -> Hours:
    return Hours(**{name: np.array(values) for name, values in (HOURS | arrays).items()})


def crews_of(**arrays: Sequence[int]) -> Crews:
    return Crews(**{name: np.array(values) for name, values in (CREWS | arrays).items()})


def test_hours_and_crews_that_are_sound_are_kept_as_they_are() -> None:
    hours, crews = hours_of(), crews_of()
    assert {name: getattr(hours, name).tolist() for name in HOURS} == HOURS
    assert {name: getattr(crews, name).tolist() for name in CREWS} == CREWS
    assert hours.window_from.dtype == crews.crew_artists.dtype == np.int32
    assert not any(getattr(hours, name).flags.writeable for name in HOURS)
    assert not any(getattr(crews, name).flags.writeable for name in CREWS)
    # one window may begin as another ends; two segments may begin alike
    hours_of(window_start=[10, 20, 5], window_end=[20, 23, 6])
    crews_of(crew_at_min=[30, 30, 5])
    empty = np.zeros(0, np.int64)
    assert len(Hours(np.zeros(1, np.int32), empty, empty, empty).window_start) == 0


@pytest.mark.parametrize(
    ("array", "values"),
    [
        ("window_from", []),
        ("window_from", [0, 2, 2]),
        ("window_from", [1, 2, 2, 3]),
        ("window_from", [0, 2, 1, 3]),
        ("window_from", [0, 4, 2, 3]),
        ("window_end", [20, 33]),
        ("window_end", [31, 33, 6]),  # overlaps the next
        ("window_end", [10, 33, 6]),  # empty
        ("window_end", [20, 33, 4]),  # ends before it begins
        ("window_end", [20, 33, MINUTE_LAST + 1]),
        ("window_start", [10, 30, -(2**31) - 1]),
        ("window_start", [10, 30, -(2**63)]),
        ("window_before", [0, 10]),
        ("window_before", [0, 9, 0]),
        ("window_before", [5, 15, 0]),
        ("window_before", [0, 10, 13]),  # goes on from another department's
    ],
)
def test_broken_hours_are_refused(array: str, values: list[int]) -> None:
    with pytest.raises(BrokenLineError) as raised:
        hours_of(**{array: values})
    assert raised.value.array == array
    assert raised.value.row is None


def test_windows_out_of_order_are_refused() -> None:
    with pytest.raises(BrokenLineError, match="window_end: entry 0 is behind the next one's start"):
        hours_of(window_start=[30, 10, 5], window_end=[33, 20, 6], window_before=[0, 3, 0])


@pytest.mark.parametrize(
    ("array", "values"),
    [
        ("crew_from", [0, 2, 2]),
        ("crew_from", [0, 2, 1, 3]),
        ("crew_at_min", [31, 30, 5]),
        ("crew_at_min", [0, 30, NEVER + 1]),
        ("crew_at_min", [-NEVER - 1, 30, 5]),
        ("crew_artists", [1, -1, 1]),
        ("crew_artists", [1, 1, 2**31]),
        ("crew_artists", [1, 1]),
        ("crew_rate_e4", [-1, 0, 1]),
        ("crew_rate_e4", [RATE_E4_MOST + 1, 0, 1]),
        ("crew_rate_e4", [1, 1]),
        ("crew_day_min", [0, -1, 480]),
        ("crew_day_min", [0, DAY_MIN_MOST + 1, 480]),
        ("crew_day_min", [1, 1]),
    ],
)
def test_broken_crews_are_refused(array: str, values: list[int]) -> None:
    with pytest.raises(BrokenLineError) as raised:
        crews_of(**{array: values})
    assert raised.value.array == array
    assert raised.value.row is None


# --- what is read off a plan ---------------------------------------------------------------------


def test_a_plan_is_read_with_the_states_it_was_made_of() -> None:
    line = sound_line()
    plan = dispatch(line)
    with pytest.raises(BrokenLineError, match="start: 4 entries for 3 rows"):
        first_change(line.state[:3], plan)
    with pytest.raises(BrokenLineError, match="finish: 4 entries for 5 rows"):
        trace_back(np.resize(line.state, 5), plan, 0)
    for row in (-1, 4):
        with pytest.raises(BrokenLineError, match=f"finish: has no row {row}, only 4 rows"):
            trace_back(line.state, plan, row)
    assert trace_back(line.state, plan, 3) == [3, 2]


@pytest.mark.parametrize("by", [4, -1, 2**31 - 1, 3])
def test_a_row_that_is_bound_by_none_or_by_itself_is_a_fault(by: int) -> None:
    line = sound_line()
    plan = dispatch(line)
    broken = replace(plan, bound_row=with_entry(plan.bound_row, 3, by))
    with pytest.raises(BrokenLineError, match=f"bound_row of row 3: {by} does not lead"):
        trace_back(line.state, broken, 3)


# --- whatever is wrong ---------------------------------------------------------------------------

BY_ROW = ("department", "state", "work_e4", "started_min", "release_min", "key")
ENTRIES = st.one_of(
    st.integers(-2, 30),
    st.integers(INT32_LEAST, 2**31 - 1),
    st.sampled_from([NEVER, NEVER + 1, WORK_E4_MOST, WORK_E4_MOST + 1, INT64_MOST, -INT64_MOST]),
)


def problem_or_error(line: Line) -> BrokenLineError | None:
    try:
        problem(line)
    except BrokenLineError as error:
        return error
    return None


def plan_or_error(line: Line) -> Plan | BrokenLineError:
    try:
        plan = dispatch(line)
        latest(line, plan, np.zeros(len(line.state), np.int64))
    except BrokenLineError as error:
        return error
    return plan


@tried(150)
@given(lines(), st.sampled_from([*BY_ROW, "successor_from", "successor"]), ENTRIES, st.data())
def test_a_line_with_any_entry_changed_is_refused_or_planned_right(
    line: Line, array: str, value: int, data: st.DataObject
) -> None:
    """Refused, or the plan is that of the minute by minute simulation of the very same line."""
    values: Any = np.array(getattr(line, array))
    if not len(values):
        return
    bounds = np.iinfo(values.dtype)
    place = data.draw(st.integers(0, len(values) - 1))
    values[place] = min(max(value, int(bounds.min)), int(bounds.max))
    line = with_array(line, "ranking" if array == "key" else array, values)
    error = problem_or_error(line)
    if error is not None:
        assert error.array == ("ranking" if array == "key" else array)
        return
    plan = plan_or_error(line)
    if isinstance(plan, BrokenLineError):
        assert (plan.array, array) == ("successor", plan.array) or array == "successor_from"
        assert "waits for itself" in plan.reason
    else:
        assert (plan.start.tolist(), plan.finish.tolist()) == simulate(line)
