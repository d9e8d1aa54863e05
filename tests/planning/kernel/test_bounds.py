"""Where compiled code is told to check its bounds, it does; else no test would prove any kept.

With NUMBA_BOUNDSCHECK=1 every access of a kernel to an array is checked, which `tests/conftest.py`
has all tests do. Without it these would read and write beyond arrays.
"""

from typing import Any

import numpy as np
import pytest
from numba.core import config

from service.planning.kernel.backward import pass_back
from service.planning.kernel.line import KernelArrays
from service.planning.kernel.minutes import row_durations
from service.planning.kernel.run import empty_run, run
from service.planning.kernel.soundness import problem
from service.vocabulary.calendar import NEVER
from tests.planning.lines import Department, Row, line_of


@pytest.fixture(scope="module", autouse=True)
def checked() -> None:
    """Nothing here is run without the checks."""
    numba: Any = config  # it sets its attributes by their names
    assert numba.BOUNDSCHECK == 1


def sound_problem() -> KernelArrays:
    return problem(line_of([Department(), Department()], [Row(), Row(1, after=[0]), Row()]))


def broken_problem(array: str, *values: int) -> KernelArrays:
    """That one with other values in an array, which nothing has looked at."""
    p = sound_problem()
    others = np.array(values, getattr(p, array).dtype)
    others.setflags(write=False)
    arrays: dict[str, Any] = {array: others}
    return p._replace(**arrays)


@pytest.mark.parametrize(
    ("array", "values"),
    [
        ("department", (0, 2, 0)),
        ("department", (0, -1, 0)),
        ("successor", (3,)),
        ("successor_from", (0, 1, 1, 9)),
        ("order", (0, 7, 2)),
    ],
)
def test_the_kernel_does_not_leave_its_arrays(array: str, values: tuple[int, ...]) -> None:
    p = broken_problem(array, *values)
    with pytest.raises(IndexError):
        run(p, empty_run(p), 0)


def test_neither_do_the_backward_pass_and_the_durations() -> None:
    minutes, is_open = np.ones(3, np.int64), np.ones(3, np.int8)
    due = np.full(3, NEVER)
    due.setflags(write=False)
    late = [np.full(3, NEVER) for _ in range(2)]
    rows = [np.zeros(3, np.int32) for _ in range(2)]
    with pytest.raises(IndexError):
        pass_back(broken_problem("successor", 3), minutes, due, is_open, *late, *rows)
    with pytest.raises(IndexError):
        row_durations(broken_problem("department", 0, 2, 0), due, 0, minutes)


def test_what_is_sound_runs_through() -> None:
    p = sound_problem()
    g = empty_run(p)
    assert run(p, g, 0) == 0
    assert g.start.tolist() == [0, 1, 1]
