"""A patched board is the board made anew."""

from typing import Any

import numpy as np
import pytest

from service.planning.board.board import COLUMNS, Board, advance, make_board
from service.planning.kernel.line import ON_DESK, OUT, WAITING
from tests.telling import ROUTE, Story, studio

SCENE = "KESTREL-1/1"
MORNING, NOON = "2031-03-04T09:00:00Z", "2031-03-04T12:00:00Z"


def _equal(one: Board, other: Board) -> None:
    assert one.frame.nodes == other.frame.nodes
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)
    for name in ("first_row", "department", "successor_from", "successor"):
        np.testing.assert_array_equal(getattr(one.frame, name), getattr(other.frame, name))


@pytest.fixture
def story() -> Story:
    story = studio()
    story.now = "2031-03-05T12:00:00Z"
    story.desk(SCENE, "layout", start=MORNING, end=NOON)
    story.tell("element.listed", "KESTREL:BG1", {"kind": "background"})
    return story


CHANGES: list[tuple[str, str, dict[str, Any]]] = [
    ("work.started", SCENE, {"department": "animation"}),
    ("hand-off.made", SCENE, {"department": "animation"}),
    ("work.started", "KESTREL-1/3", {"department": "layout"}),
    ("scene.retimed", SCENE, {"frames": 160, "drawings": 90}),
    ("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-09"}),
    ("scene.freed", SCENE, {}),
    ("priority.set", SCENE, {"priority": 5}),
    ("priority.set", "KESTREL-1", {"priority": -2}),
    ("visit.put-first", "KESTREL-1/2", {"department": "layout"}),
    ("element.used", "KESTREL:BG1", {"scenes": [SCENE, "KESTREL-2/1"]}),
    (
        "same-as.declared",
        "KESTREL-2/3",
        {"source": SCENE, "joins": "camera", "strands": ["character"]},
    ),
    ("scene.omitted", "KESTREL-1/2", {}),
    ("scene.restored", "KESTREL-1/2", {}),
    ("scene.listed", "KESTREL-1/9A", {"frames": 20}),
    (
        "retake.called",
        SCENE,
        {
            "retake": "R1",
            "kind": "retake",
            "urgency": "must-fix",
            "back_to": "layout",
            "strands": ["character"],
            "share": 0.2,
        },
    ),
    ("retake.withdrawn", SCENE, {"retake": "R1"}),
    ("crew.set", "studio", {"department": "paint", "artists": 3, "units_per_artist_day": 9,
                            "minutes_per_artist_day": 480, "from_on": "2031-03-06"}),
    ("episode.delivered", "KESTREL-1", {}),
]  # fmt: skip


def test_advancing_over_every_kind_of_change_equals_making_anew(story: Story) -> None:
    board = make_board(story.state)
    first, before = board, story.state
    for type_, subject, data in CHANGES:
        story.tell(type_, subject, data)
        board = advance(board, story.state)
        _equal(board, make_board(story.state))
        # and the other way round: a branch is left as easily as it is entered
        _equal(advance(board, before), first)


def test_changes_together_are_all_seen(story: Story) -> None:
    """One change decides which rows are written; another must not hide behind it."""
    board = make_board(story.state)
    story.tell("priority.set", "KESTREL-1", {"priority": 3})
    story.tell("scene.retimed", "KESTREL-1/2", {"frames": 320})
    story.tell("work.started", SCENE, {"department": "animation"})
    story.tell("work.started", "KESTREL-1", {"department": "cutting"})
    _equal(advance(board, story.state), make_board(story.state))


def test_the_same_state_gives_the_same_board(story: Story) -> None:
    board = make_board(story.state)
    assert advance(board, story.state) is board


def test_rows_say_where_a_visit_stands(story: Story) -> None:
    story.tell("work.started", SCENE, {"department": "animation"}, at=NOON)
    board = make_board(story.state)
    row_of = board.frame.row_of
    phases = {
        department: int(board.phase[row_of[SCENE, department]])
        for department in ("layout", "animation", "paint")
    }
    assert phases == {"layout": OUT, "animation": ON_DESK, "paint": WAITING}
    # 80 frames are 5 feet; 40 drawings
    assert board.work_e4[row_of[SCENE, "animation"]] == 5 * 10_000
    assert board.work_e4[row_of[SCENE, "paint"]] == 40 * 10_000


def test_an_unused_element_is_planned_and_one_of_delivered_episodes_alone_is_not(
    story: Story,
) -> None:
    assert ("KESTREL:BG1", "background") in make_board(story.state).frame.row_of
    story.tell("element.used", "KESTREL:BG1", {"scenes": [SCENE]})
    story.tell("episode.delivered", "KESTREL-1", {})
    assert ("KESTREL:BG1", "background") not in make_board(story.state).frame.row_of


@pytest.fixture
def checked() -> Story:
    """A studio that checks the drawings of each episode when its scenes are cut."""
    follows = [{"department": "cutting", "strands": ["character"]}]
    check = {"department": "check", "grain": "episode", "unit": "drawings", "follows": follows}
    story = studio(route={**ROUTE, "departments": [*ROUTE["departments"], check]})
    story.now = "2031-03-10T08:00:00Z"
    return story


def checked_e4(story: Story) -> int:
    board = make_board(story.state)
    return int(board.work_e4[board.frame.row_of["KESTREL-1", "check"]])


def test_what_was_handed_off_counts_scenes_as_they_were_whatever_is_retimed_since(
    checked: Story,
) -> None:
    checked.tell("scene.omitted", "KESTREL-1/2", at="2031-03-04T08:00:00Z")
    longer = {"frames": 120, "drawings": 60}
    checked.tell("scene.retimed", "KESTREL-1/2", longer, at="2031-03-07T08:00:00Z")
    checked.tell("scene.restored", "KESTREL-1/2", at="2031-03-05T08:00:00Z")
    done = {"department": "check"}
    checked.tell("hand-off.made", "KESTREL-1", done, at="2031-03-06T12:00:00Z")
    assert checked_e4(checked) == 3 * 40 * 10_000
    checked.tell("scene.retimed", "KESTREL-1/3", {"frames": 80}, at="2031-03-08T08:00:00Z")
    assert checked_e4(checked) == 3 * 40 * 10_000


def test_a_retime_that_is_told_late_of_a_scene_that_is_out_counts_in_what_was_handed_off(
    checked: Story,
) -> None:
    longer = {"frames": 120, "drawings": 60}
    done = {"department": "check"}
    checked.tell("hand-off.made", "KESTREL-1", done, at="2031-03-05T12:00:00Z")
    checked.tell("scene.retimed", "KESTREL-1/2", longer, at="2031-03-06T08:00:00Z")
    checked.tell("scene.omitted", "KESTREL-1/2", at="2031-03-07T08:00:00Z")
    board = make_board(checked.state)
    checked.tell("scene.retimed", "KESTREL-1/2", longer, at="2031-03-05T08:00:00Z")
    assert checked_e4(checked) == (40 + 60 + 40) * 10_000
    _equal(advance(board, checked.state), make_board(checked.state))
