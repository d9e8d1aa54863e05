"""Graham's anomalies recorded as a studio: one department of identical artists makes everything.

R. L. Graham, Bounds on multiprocessing timing anomalies, SIAM J. Appl. Math. 17(2), 1969; instance
and makespans as in `test_graham`. A task that others wait for is an element they use, the others
are scenes; the elements are made in the department whose visits they feed, so all compete there.
"""

from collections.abc import Callable, Sequence

import pytest

from tests.outside.shops import planned, round_the_clock, set_crew
from tests.outside.test_graham import ARCS, FEWER_ARCS, LIST, OTHER_LIST, SHORTER, TIMES
from tests.telling import Story

ELEMENTS = sorted({before for before, _ in ARCS})

ROUTE = {
    "departments": [{"department": "layout", "grain": "scene", "unit": "scenes"}],
    "kinds": [
        {"kind": "drawing", "departments": ["layout"], "feeds": "layout", "strand": "character"}
    ],
    "gates": [{"gate": "delivery", "department": "layout"}],
}


def _item(task: int) -> str:
    return f"GRAHAM:T{task}" if task in ELEMENTS else f"GRAHAM-1/{task}"


def _studio(times: Sequence[int] = TIMES, arcs: Sequence[tuple[int, int]] = ARCS) -> Story:
    """Three artists, and the tasks in Graham's first list."""
    story = round_the_clock()
    story.tell("show.opened", "GRAHAM", {"title": "Anomalies"})
    story.tell("route.laid", "GRAHAM", ROUTE)
    set_crew(story, "layout", 3)
    story.tell("episode.opened", "GRAHAM-1", {"title": "Nine tasks"})
    for task, minutes in enumerate(times, start=1):
        work = {"work": {"layout": minutes}}
        if task in ELEMENTS:
            story.tell("element.listed", _item(task), {"kind": "drawing", **work})
        else:
            story.tell("scene.listed", _item(task), {"frames": 24, **work})
    for element in ELEMENTS:
        users = [_item(after) for before, after in arcs if before == element]
        story.tell("element.used", _item(element), {"scenes": users})
    _prioritize(story, LIST)
    return story


def _prioritize(story: Story, tasks: Sequence[int]) -> None:
    for place, task in enumerate(tasks):
        story.tell("priority.set", _item(task), {"priority": -place})


def _put_first(story: Story, tasks: Sequence[int]) -> None:
    for task in reversed(tasks):  # the latest order goes first
        story.tell("visit.put-first", _item(task), {"department": "layout"})


def _makespan(story: Story) -> int:
    spans = planned(story)
    assert len(spans) == len(TIMES)
    return max(finish for _, finish in spans.values())


def test_twelve_by_the_first_list() -> None:
    assert _makespan(_studio()) == 12


@pytest.mark.parametrize("tell", [_prioritize, _put_first])
def test_another_list_ends_later(tell: Callable[[Story, Sequence[int]], None]) -> None:
    story = _studio()
    tell(story, OTHER_LIST)
    assert _makespan(story) == 14
    tell(story, LIST)
    assert _makespan(story) == 12


def test_a_fourth_artist_ends_later() -> None:
    story = _studio()
    set_crew(story, "layout", 4)
    assert _makespan(story) == 15


def test_shorter_work_ends_later() -> None:
    assert _makespan(_studio(times=SHORTER)) == 13


def test_less_to_wait_for_ends_later() -> None:
    assert _makespan(_studio(arcs=FEWER_ARCS)) == 16
