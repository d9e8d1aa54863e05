"""Work that nobody needs: who hears of it, what is planned of it, what it costs."""

import pytest

from service.planning.board.board import advance, make_board
from service.planning.compare.impact import Impact, compare
from service.planning.compare.pricing import Work, works_between
from service.planning.plan.schedule import Schedule, schedule
from service.planning.plan.standing import Standings, Stands
from service.production.account import account
from service.production.lending import Lending
from service.production.nouns.retakes import asks
from service.production.takes import Phase
from service.vocabulary.instants import US_PER_MIN, parse_instant
from service.web.nouns.retakes.answers import shown_retake
from tests.telling import Story, studio

SCENE, OTHER, REUSER = "KESTREL-1/1", "KESTREL-1/2", "KESTREL-2/1"
BACKGROUND = "KESTREL:hall"
EIGHT, NINE, TEN, NOON, EVENING = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (8, 9, 10, 12, 16))
NOW_MIN = parse_instant(EVENING) // US_PER_MIN
RATES = {"layout": "40", "animation": "12.50", "paint": "2", "camera": "1", "background": "100"}


def reusing(story: Story) -> None:
    same = {"source": SCENE, "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", REUSER, same)


def redoing(story: Story, at: str = TEN) -> None:
    story.desk(SCENE, "layout", "animation", start=EIGHT, end=NINE)
    story.call("R1", SCENE, "animation", "character", at=at)


def work_of(story: Story) -> dict[str | None, int]:
    return {row.department: row.work_e4 for row in account(story.state, ["R1"])}


def plans_around(story: Story, type_: str, subject: str) -> tuple[Schedule, Schedule]:
    """The plan before and after one more fact, the board carried on."""
    board = make_board(story.state)
    before = schedule(board, NOW_MIN)
    story.tell(type_, subject, at=EVENING)
    return before, schedule(advance(board, story.state), NOW_MIN)


def impact(story: Story, type_: str, subject: str) -> Impact:
    return compare(*plans_around(story, type_, subject))


# what a call on an omitted scene costs


def test_a_retake_of_what_others_still_need_is_counted_before_it_is_begun() -> None:
    story = studio()
    reusing(story)
    redoing(story)
    assert work_of(story) == {"animation": 25_000}
    story.tell("scene.omitted", SCENE, at=NOON)
    assert work_of(story) == {"animation": 25_000}
    story.tell("scene.omitted", REUSER, at=EVENING)
    assert work_of(story) == {None: 0}


def test_a_call_that_nothing_is_counted_of_is_of_its_subjects_episode() -> None:
    story = studio()
    redoing(story)
    story.tell("scene.omitted", SCENE, at=NOON)
    (row,) = account(story.state, ["R1"])
    assert (row.episode, row.department) == ("KESTREL-1", None)


# calls on what is not planned


@pytest.mark.parametrize(
    ("type_", "subject"), [("scene.omitted", SCENE), ("episode.delivered", "KESTREL-1")]
)
def test_a_call_on_what_is_not_planned_is_marked_and_adds_nothing(type_: str, subject: str) -> None:
    story = studio()
    story.desk(SCENE, "layout", "animation", start=EIGHT, end=NINE)
    story.tell(type_, subject, at=NINE)
    board = make_board(story.state)
    before = schedule(board, NOW_MIN)
    retake = story.call("R1", SCENE, "animation", "character", at=TEN)
    assert story.state.marks[retake.position] == ("not-planned",)
    found = compare(before, schedule(advance(board, story.state), NOW_MIN))
    assert [(one.department, one.planned) for one in found.reopened] == [("animation", False)]
    assert found.departments == ()
    shown = shown_retake(story.state, "R1", story.state.retakes["R1"])
    assert (shown.reopened, shown.open, shown.not_planned) == (1, 0, 1)
    assert work_of(story) == {None: 0}
    if type_ == "scene.omitted":
        return
    # somebody does it all the same: then it is counted
    story.desk(SCENE, "animation", start=TEN, end=NOON)
    assert work_of(story) == {"animation": 25_000}


def test_a_call_on_what_others_reuse_of_a_delivered_scene_is_planned() -> None:
    story = studio()
    reusing(story)
    story.desk(SCENE, "layout", "animation", start=EIGHT, end=NINE)
    story.tell("episode.delivered", "KESTREL-1", at=NINE)
    board = make_board(story.state)
    before = schedule(board, NOW_MIN)
    retake = story.call("R1", SCENE, "animation", "character", at=TEN)
    assert retake.position not in story.state.marks
    found = compare(before, schedule(advance(board, story.state), NOW_MIN))
    assert [(one.department, one.added_work_e4) for one in found.departments] == [
        ("animation", 25_000)
    ]


def test_a_call_that_merely_reaches_an_omitted_scene_is_not_marked() -> None:
    story = painted()
    story.desk(BACKGROUND, "background", start=EIGHT, end=NINE)
    story.tell("scene.omitted", OTHER, at=NINE)
    called = story.call("R1", BACKGROUND, "background", "background", at=TEN)
    assert called.position not in story.state.marks


# elements


def painted(*scenes: str) -> Story:
    story = studio()
    story.tell("element.listed", BACKGROUND, {"kind": "background"})
    story.tell("element.used", BACKGROUND, {"scenes": list(scenes or (SCENE, OTHER))})
    return story


def test_a_retake_asks_for_work_of_the_takes_that_it_opened_alone() -> None:
    story = studio()
    redoing(story)
    assert asks(story.state, "R1", (SCENE, "animation"))
    assert not asks(story.state, "R1", (SCENE, "layout"))
    assert not asks(story.state, "R2", (SCENE, "animation"))


def test_a_background_that_only_omitted_scenes_use_is_not_planned() -> None:
    story = painted()
    plans_around(story, "scene.omitted", SCENE)
    before, after = plans_around(story, "scene.omitted", OTHER)
    assert before.row((BACKGROUND, "background")) is not None
    assert after.row((BACKGROUND, "background")) is None
    assert Standings.of(after).visit(BACKGROUND, "background").stands is Stands.OMITTED
    saved = {one.department: one.added_work_e4 for one in compare(before, after).departments}
    assert saved["background"] == -10_000
    assert works_between(before.state, after.state)["background"] == Work(dropped_e4=10_000)
    _, restored = plans_around(story, "scene.restored", OTHER)
    assert restored.row((BACKGROUND, "background")) is not None


def test_the_desk_of_a_background_is_freed_with_the_last_scene_that_uses_it() -> None:
    story = painted()
    story.desk(BACKGROUND, "background", start=NINE)
    story.tell("scene.omitted", SCENE, at=TEN)
    assert story.take(BACKGROUND, "background").phase is Phase.ON_DESK
    story.tell("scene.omitted", OTHER, at=NOON)
    assert story.take(BACKGROUND, "background").phase is Phase.WAITING


def test_a_background_that_a_reuser_of_an_omitted_user_waits_for_is_needed_in_its_episode() -> None:
    story = painted(SCENE)
    same = {"source": SCENE, "joins": "camera", "strands": ["background"]}
    story.tell("same-as.declared", REUSER, same)
    _, after = plans_around(story, "scene.omitted", SCENE)
    row = after.row((BACKGROUND, "background"))
    assert row is not None
    frame = after.board.frame
    assert frame.due_episodes[frame.place_of[BACKGROUND]] == ("KESTREL-2",)
    assert Lending(story.state).users_of_element(BACKGROUND) == {REUSER}


def test_a_background_is_needed_by_who_reuses_a_user_that_is_in_the_picture() -> None:
    story = painted()
    board = make_board(story.state)
    same = {"source": SCENE, "joins": "camera", "strands": ["background"]}
    story.tell("same-as.declared", REUSER, same)
    frame = advance(board, story.state).frame
    assert frame.due_episodes[frame.place_of[BACKGROUND]] == ("KESTREL-1", "KESTREL-2")
    before, after = plans_around(story, "scene.omitted", OTHER)
    for plan, users in ((before, {SCENE, OTHER, REUSER}), (after, {SCENE, REUSER})):
        frame = plan.board.frame
        assert frame.due_episodes[frame.place_of[BACKGROUND]] == ("KESTREL-1", "KESTREL-2")
        assert Lending(plan.state).users_of_element(BACKGROUND) == users


def test_what_an_omitted_scene_lends_has_the_date_of_who_needs_it() -> None:
    story = studio()
    reusing(story)
    _, after = plans_around(story, "scene.omitted", SCENE)
    frame = after.board.frame
    assert frame.due_episodes[frame.place_of[SCENE]] == ("KESTREL-2",)


def test_an_omission_credits_only_what_nobody_needs() -> None:
    story = studio()
    reusing(story)
    before = story.state
    story.tell("scene.omitted", SCENE, at=NOON)
    assert set(works_between(before, story.state)) == {"background", "camera"}
