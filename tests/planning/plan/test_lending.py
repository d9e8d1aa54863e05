"""Plans while scenes out of the picture still lend their art to others."""

from random import Random

from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import advance, make_board
from service.planning.compare.impact import StillNeeded, compare
from service.planning.kernel.line import WAITING
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.standing import Standings, Stands
from service.production.graph import predecessors
from service.production.lending import in_picture, lent_visits
from service.production.state import State, visit_of
from service.production.takes import Phase
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.random_states import states_at_random
from tests.properties import tried
from tests.telling import Story, studio

NOW_MIN = parse_instant("2031-03-03T09:00:00Z") // US_PER_MIN
SOURCE, REUSER = "KESTREL-1/1", "KESTREL-2/1"


def reusing() -> Story:
    story = studio()
    same = {"source": SOURCE, "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", REUSER, same)
    return story


def planned(story: Story, type_: str, subject: str) -> tuple[Schedule, Schedule]:
    """The plan before and after one more fact, the board carried on."""
    board = make_board(story.state)
    before = schedule(board, NOW_MIN)
    story.tell(type_, subject)
    return before, schedule(advance(board, story.state), NOW_MIN)


def assert_waited_for(after: Schedule) -> None:
    standings = Standings.of(after)
    camera, paint = standings.visit(REUSER, "camera"), standings.visit(SOURCE, "paint")
    assert paint.projected_finish_min is not None
    assert camera.projected_start_min is not None
    assert camera.projected_start_min >= paint.projected_finish_min


def needed(*departments: str) -> tuple[StillNeeded, ...]:
    return tuple(StillNeeded(SOURCE, name, (REUSER,)) for name in departments)


def test_what_others_need_of_an_omitted_scene_stays_planned() -> None:
    before, after = planned(reusing(), "scene.omitted", SOURCE)
    assert_waited_for(after)
    stands = {visit.department: visit.stands for visit in Standings.of(after).visits(SOURCE)}
    assert stands == {
        "layout": Stands.IN_TRAY,
        "background": Stands.OMITTED,
        "animation": Stands.AHEAD,
        "paint": Stands.AHEAD,
        "camera": Stands.OMITTED,
    }
    assert compare(before, after).still_needed == needed("layout", "animation", "paint")


def test_what_others_need_of_a_delivered_scene_stays_planned() -> None:
    before, after = planned(reusing(), "episode.delivered", "KESTREL-1")
    assert_waited_for(after)
    assert compare(before, after).still_needed == needed("layout", "animation", "paint")
    # what nobody needs is not planned, and not called omitted either
    assert Standings.of(after).visit(SOURCE, "camera").stands is Stands.AHEAD
    assert Standings.of(after).visit(SOURCE, "camera").projected_finish_min is None


def test_nothing_is_planned_any_more_once_nobody_needs_it() -> None:
    story = reusing()
    planned(story, "scene.omitted", SOURCE)
    before, after = planned(story, "scene.omitted", REUSER)
    assert {visit.stands for visit in Standings.of(after).visits(SOURCE)} == {Stands.OMITTED}
    assert compare(before, after).still_needed == ()


def excused(state: State, node: tuple[str, str], waits: tuple[str, str]) -> bool:
    """Whether a visit that is not handed off holds another up no more."""
    item, department = node
    if item in state.scenes:
        return not in_picture(state, item) and department not in lent_visits(state, item)
    # an element used in delivered episodes alone, an episode that is delivered
    return waits[0] in state.scenes and not in_picture(state, waits[0])


@tried(20)
@given(seed=st.integers(0, 2**32 - 1))
def test_nothing_starts_before_what_it_waits_for(seed: int) -> None:
    """Whatever was omitted, restored, delivered or joined before."""
    for state in states_at_random(Random(seed), 40)[::5]:
        plan = schedule(make_board(state), NOW_MIN)
        frame = plan.board.frame
        for row, node in enumerate(frame.nodes):
            start = int(plan.plan.start[row])
            if plan.board.phase[row] != WAITING or start == NEVER:
                continue
            for arc in predecessors(state, *node):
                if visit_of(state, *arc.node).current.phase is Phase.HANDED_OFF:
                    continue
                before = plan.row(arc.node)
                if before is None or plan.board.ended_min[before] < 0 > plan.plan.finish[before]:
                    assert excused(state, arc.node, node), (arc.node, node)
                else:
                    assert plan.plan.finish[before] <= start
