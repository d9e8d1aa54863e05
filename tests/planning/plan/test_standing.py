"""Where visits stand: counted in arrays, worked out one by one, and both as the graph has it."""

from collections import Counter

import pytest

from service.planning.board.board import make_board
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.standing import (
    STANDS,
    Standings,
    Stands,
    codes_of,
    counts_by_department,
    counts_by_episode,
)
from service.production.graph import predecessors
from service.production.state import Node, State, visit_of
from service.production.takes import Phase
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.telling import Story, studio

NOW = "2031-03-07T10:00:00Z"
NOW_MIN = parse_instant(NOW) // US_PER_MIN
CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "layout",
    "strands": ["background", "character"],
    "share": 0.5,
}


@pytest.fixture
def story() -> Story:
    """A bit of everything: elements, a reused scene, a hold, an omission, a retake, a delivery."""
    story = studio(scenes=4, episodes=("KESTREL-1", "KESTREL-2", "KESTREL-3"))
    story.now = NOW
    story.tell("element.listed", "KESTREL:BG-7", {"kind": "background"})
    story.tell("element.used", "KESTREL:BG-7", {"scenes": ["KESTREL-1/1", "KESTREL-2/1"]})
    same = {"source": "KESTREL-1/2", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/2", same)
    for scene in ("KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/4", "KESTREL-3/1"):
        story.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    story.desk("KESTREL-1/2", "animation", start="2031-03-04T09:00:00Z", end="2031-03-05T09:00:00Z")
    story.desk("KESTREL-1/1", "animation", start="2031-03-05T09:00:00Z")
    story.tell("scene.held", "KESTREL-1/4", {"owes": "client", "by_on": "2031-03-12"})
    story.tell("scene.omitted", "KESTREL-1/3")
    story.tell("retake.called", "KESTREL-1/2", CALL)
    story.tell("episode.delivered", "KESTREL-3")
    return story


def planned(state: State) -> Schedule:
    return schedule(make_board(state), parse_instant(NOW) // US_PER_MIN)


def by_definition(state: State, node: Node) -> Stands:
    """Where a visit of an undelivered episode stands, by the graph."""
    scene = state.scenes.get(node[0])
    if scene is not None and scene.omitted:
        return Stands.OMITTED
    phase = visit_of(state, *node).current.phase
    if phase is not Phase.WAITING:
        return Stands.HANDED_OFF if phase is Phase.HANDED_OFF else Stands.ON_DESK
    for arc in predecessors(state, *node):
        before = state.scenes.get(arc.node[0])
        if before is not None and before.omitted:
            continue
        if visit_of(state, *arc.node).current.phase is not Phase.HANDED_OFF:
            return Stands.AHEAD
    return Stands.HELD if scene is not None and scene.hold is not None else Stands.IN_TRAY


def test_every_visit_stands_where_the_graph_has_it(story: Story) -> None:
    made = planned(story.state)
    codes = codes_of(made.board)
    standings = Standings(made, codes)
    seen = set()
    for row, node in enumerate(made.board.frame.nodes):
        wanted = by_definition(story.state, node)
        assert STANDS[codes[row]] == wanted, node
        assert standings.visit(*node).stands == wanted
        seen.add(wanted)
    assert seen == set(STANDS)


def test_counts_are_those_of_the_visits(story: Story) -> None:
    made = planned(story.state)
    board, codes = made.board, codes_of(made.board)
    found = Counter(
        (node[1], STANDS[code]) for node, code in zip(board.frame.nodes, codes, strict=True)
    )
    by_department = counts_by_department(board, codes)
    for place, name in enumerate(board.frame.departments):
        for at, stands in enumerate(STANDS):
            assert by_department[place, at] == found[name, stands]
    standings = Standings(made, codes)
    by_episode = counts_by_episode(board, codes)
    assert list(by_episode) == ["KESTREL-1", "KESTREL-2"]
    for episode, counts in by_episode.items():
        items = (episode, *story.state.episodes[episode].scenes)
        assert counts == standings.count(items)
        visits = [visit for item in items for visit in standings.visits(item)]
        assert counts == {
            stands.value: sum(visit.stands is stands for visit in visits) for stands in STANDS
        }


def test_what_a_delivered_episode_left_open_is_shown_without_a_plan(story: Story) -> None:
    standings = Standings.of(planned(story.state))
    layout, background, _, paint, _ = standings.visits("KESTREL-3/1")
    assert layout.stands is Stands.HANDED_OFF
    assert layout.handed_off_us == parse_instant("2031-03-03T13:00:00Z")
    assert (background.stands, paint.stands) == (Stands.IN_TRAY, Stands.AHEAD)
    assert (background.projected_finish_min, background.float_workdays) == (None, None)
    assert background.work_e4 == 10_000
    assert standings.finish_min("KESTREL-3/1") is None


def test_a_reopened_visit_knows_its_retake_and_the_way_there(story: Story) -> None:
    standings = Standings.of(planned(story.state))
    animation = standings.visit("KESTREL-1/2", "animation")
    assert (animation.take, animation.retakes, animation.must_fix) == (2, ("R1",), True)
    assert animation.because == (("KESTREL-1/2", "layout"), ("KESTREL-1/2", "animation"))
    assert standings.visit("KESTREL-1/2", "paint").because == ()
    # the scene that reuses it waits at camera for it, which has not begun there
    assert standings.visit("KESTREL-2/2", "camera").take == 1


def test_a_visit_on_a_desk_has_a_start_and_no_projected_one(story: Story) -> None:
    visit = Standings.of(planned(story.state)).visit("KESTREL-1/1", "animation")
    assert visit.stands is Stands.ON_DESK
    assert visit.started_us == parse_instant("2031-03-05T09:00:00Z")
    assert visit.projected_start_min is None
    # overdue: a day's work begun on Wednesday at nine ends in the minute after now
    assert visit.projected_finish_min == parse_instant(NOW) // US_PER_MIN + 1
    assert visit.overdue_since_min == parse_instant("2031-03-05T17:00:00Z") // US_PER_MIN


def test_only_what_is_on_a_desk_or_held_is_overdue(story: Story) -> None:
    standings = Standings.of(planned(story.state))
    items = [*story.state.scenes, *story.state.episodes, *story.state.elements]
    overdue = [
        (visit.item, visit.department)
        for item in items
        for visit in standings.visits(item)
        if visit.overdue_since_min is not None
    ]
    assert overdue == [("KESTREL-1/1", "animation")]
    # the answer that scene 4 is held for is due on the 12th
    later = Standings.of(schedule(make_board(story.state), NOW_MIN + 7 * 24 * 60))
    assert later.visit("KESTREL-1/4", "background").stands is Stands.HELD
    due = parse_instant("2031-03-13T00:00:00Z") // US_PER_MIN
    assert later.visit("KESTREL-1/4", "background").overdue_since_min == due
    assert later.visit("KESTREL-1/4", "paint").overdue_since_min is None


def test_what_is_not_in_the_record(story: Story) -> None:
    with pytest.raises(LookupError):
        Standings.of(planned(story.state)).visits("KESTREL-9/1")
