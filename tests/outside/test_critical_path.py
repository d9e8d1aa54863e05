"""Floats of a worked critical path network.

The worked example of the CRAN package critpath 0.2.2: activities are start node, end node and
duration; TF is the total float, FF the free float, T the length of the whole.
"""

import numpy as np

from service.planning.backward import latest
from service.planning.dispatch import dispatch
from service.vocabulary.calendar import NEVER
from tests.planning.lines import Crew, Department, Row, line_of

ACTIVITIES = {
    "A": (1, 2, 3),
    "B": (1, 3, 2),
    "C": (1, 4, 5),
    "D": (2, 4, 1),
    "E": (3, 4, 1),
    "F": (4, 5, 3),
}
T = 8
TF = {"A": 1, "B": 2, "C": 0, "D": 1, "E": 2, "F": 0}
FF = {"A": 0, "B": 0, "C": 0, "D": 1, "E": 2, "F": 0}


def test_total_and_free_float() -> None:
    names = list(ACTIVITIES)
    after = {
        name: [other for other in names if ACTIVITIES[other][1] == ACTIVITIES[name][0]]
        for name in names
    }
    rows = [
        Row(work_e4=ACTIVITIES[name][2] * 10_000, after=[names.index(b) for b in after[name]])
        for name in names
    ]
    line = line_of([Department([Crew(len(rows))])], rows)
    plan = dispatch(line)
    assert plan.finish.max() == T
    last = [all(name not in inputs for inputs in after.values()) for name in names]
    due = np.where(last, T, NEVER)
    late = latest(line, plan, due)
    assert dict(zip(names, (late - plan.finish).tolist(), strict=True)) == TF
    free = {
        name: min(
            [int(plan.start[names.index(other)]) for other in names if name in after[other]] or [T]
        )
        - int(plan.finish[names.index(name)])
        for name in names
    }
    assert free == FF
