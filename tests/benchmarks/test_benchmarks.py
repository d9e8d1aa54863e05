"""Benchmarks still run; what they measure is read by people, on a quiet machine."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.dispatch import dispatch
from service.planning.kernel.line import Line
from tests.benchmarks.__main__ import measure, names
from tests.benchmarks.figures import Size
from tests.benchmarks.kernel import multiplied
from tests.planning.lines import lines
from tests.properties import tried


@pytest.mark.parametrize("name", names())
def test_runs(name: str) -> None:
    figures = measure(name, Size(0.01))
    assert figures
    assert all(figure.value > 0 for figure in figures)
    assert any(figure.ratio is not None for figure in figures)


@tried(25)
@given(lines(), st.integers(1, 4))
def test_each_copy_of_a_line_multiplied_is_planned_as_the_line_is(line: Line, times: int) -> None:
    plan, many = dispatch(line), dispatch(multiplied(line, times))
    rows = len(line.state)
    for copy in range(times):
        of_copy = slice(copy * rows, (copy + 1) * rows)
        assert many.start[of_copy].tolist() == plan.start.tolist()
        assert many.finish[of_copy].tolist() == plan.finish.tolist()
