"""Trays in working order, and how much is open."""

from datetime import date

import numpy as np

from service.planning.board.board import make_board
from service.planning.plan.schedule import Schedule, load_e4, schedule
from service.planning.plan.standing import Standings, Stands, codes_of
from service.planning.plan.tray import (
    SECTIONS,
    Overdue,
    due_on,
    item_place,
    open_work_e4,
    overdue_by_department,
    section_rows,
)
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.telling import Story, studio


def planned(story: Story) -> Schedule:
    return schedule(make_board(story.state), parse_instant(story.now) // US_PER_MIN)


def started() -> Story:
    story = studio(scenes=4)
    story.now = "2031-03-04T10:00:00Z"
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    story.desk("KESTREL-1/2", "layout", start="2031-03-04T09:00:00Z")
    story.tell("scene.held", "KESTREL-2/1", {"owes": "client", "by_on": "2031-03-12"})
    return story


def test_what_is_planned_to_start_next_lies_on_top() -> None:
    made = planned(started())
    codes = codes_of(made.board)
    for department in made.board.frame.departments:
        for section in (Stands.IN_TRAY, Stands.AHEAD):
            rows = section_rows(made, codes, department, section)
            starts = made.plan.start[rows]
            assert (np.diff(starts) >= 0).all(), (department, section)


def test_sections_share_out_a_department() -> None:
    made = planned(started())
    codes = codes_of(made.board)
    rows = [row for name in SECTIONS for row in section_rows(made, codes, "layout", name)]
    # eight scenes, one of them handed off
    assert len(rows) == len(set(rows)) == 7
    assert [made.board.frame.nodes[row][0] for row in rows][-1] == "KESTREL-2/1"
    assert section_rows(made, codes, "lighting", Stands.IN_TRAY) == []


def test_open_work_is_what_the_visits_still_ask_for() -> None:
    made = planned(started())
    frame = made.board.frame
    wanted = dict.fromkeys(frame.departments, 0)
    for row, (_, department) in enumerate(frame.nodes):
        wanted[department] += load_e4(made, row)
    assert open_work_e4(made) == wanted
    # seven scenes, less one of the four hours of the one on a desk
    assert wanted["layout"] == 67_500


def test_what_is_overdue_is_counted_with_the_longest() -> None:
    story = started()
    story.now = "2031-03-13T12:00:00Z"
    story.desk("KESTREL-1/3", "layout", start="2031-03-12T15:00:00Z")
    found = overdue_by_department(Standings.of(planned(story)))
    assert found == {
        "layout": Overdue(
            on_desk=2,
            on_desk_since_min=parse_instant("2031-03-04T13:00:00Z") // US_PER_MIN,
            held=1,
            held_since_min=parse_instant("2031-03-13T00:00:00Z") // US_PER_MIN,
        )
    }


def test_an_item_is_found_by_any_of_its_rows() -> None:
    board = planned(started()).board
    for row, (item, _) in enumerate(board.frame.nodes):
        assert board.frame.items[item_place(board, row)] == item


def test_the_earliest_delivery_counts() -> None:
    state = started().state
    assert due_on(state, ("KESTREL-2", "KESTREL-1")) == date(2031, 4, 15)
    assert due_on(state, ()) is None
