"""Scenes that change after work on them has begun: nothing is reopened, all of it is listed."""

from service.production.refusal import Code
from service.production.touched import behind_scenes, to_look_at
from tests.telling import Story, studio

SCENE, EPISODE = "KESTREL-1/1", "KESTREL-1"
EIGHT, NINE, TEN, NOON, EVENING = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (8, 9, 10, 12, 16))


def begun() -> Story:
    """A scene whose layout is handed off and whose animation is on a desk."""
    story = studio()
    story.desk(SCENE, "layout", start=EIGHT, end=NINE)
    story.desk(SCENE, "animation", start=NINE)
    return story


def listed(story: Story, scene: str = SCENE) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (look.change.change, [visit[:2] for visit in look.visits])
        for look in to_look_at(story.state, scene)
    ]


def test_a_retime_lists_the_departments_that_have_begun() -> None:
    story = begun()
    retimed = story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    assert story.marks(retimed) == ("work-begun",)
    (look,) = to_look_at(story.state, SCENE)
    assert (look.change.frames_before, look.change.frames_after) == (80, 120)
    assert look.visits == ((SCENE, "layout", 1), (SCENE, "animation", 1))
    assert look.change.position == retimed.position


def test_before_any_work_a_retime_has_nothing_to_list() -> None:
    story = studio()
    assert story.marks(story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)) == ()
    assert listed(story) == []


def test_the_same_length_again_changes_nothing() -> None:
    story = begun()
    assert story.marks(story.tell("scene.retimed", SCENE, {"frames": 80}, at=TEN)) == ()
    # another number of drawings does
    more = {"frames": 80, "drawings": 60}
    assert story.marks(story.tell("scene.retimed", SCENE, more, at=NOON)) == ("work-begun",)


def test_what_a_retake_redoes_is_listed_no_longer() -> None:
    story = begun()
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    story.call("R1", SCENE, "animation", "character", at=NOON, share=1)
    assert listed(story) == [("retimed", [(SCENE, "layout")])]
    story.call("R2", SCENE, "layout", "background", at=EVENING, share=1)
    assert listed(story) == []


def test_answered_fine_it_is_listed_no_longer() -> None:
    story = begun()
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    story.tell("look-at.answered", SCENE, {"answer": "fine"}, at=NOON)
    assert listed(story) == []
    assert story.codes("look-at.answered", SCENE, {"answer": "fine"}, at=EVENING) == {
        Code.CONTRADICTION
    }
    story.tell("scene.retimed", SCENE, {"frames": 80}, at=EVENING)
    assert listed(story) == [("retimed", [(SCENE, "layout"), (SCENE, "animation")])]


def test_what_is_to_be_redone_is_called_and_no_answer_comes_before_the_change() -> None:
    story = begun()
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    (reason,) = story.refused("look-at.answered", SCENE, {"answer": "redo"}, at=NOON)
    assert (reason.code, reason.member) == (Code.CONTRADICTION, "/data/answer")
    assert story.codes("look-at.answered", SCENE, {"answer": "fine"}, at=NINE) == {Code.TIME_ORDER}
    assert story.codes("look-at.answered", "KESTREL-1/99", {"answer": "fine"}) == {Code.UNKNOWN}


def cut() -> Story:
    """An episode of two scenes on the cutting desk."""
    story = studio(scenes=2)
    for scene in ("KESTREL-1/1", "KESTREL-1/2"):
        for department in ("layout", "background", "animation", "paint", "camera"):
            story.desk(scene, department, start=EIGHT, end=NINE)
    story.desk(EPISODE, "cutting", start=TEN)
    return story


def test_the_episodes_own_visits_behind_the_scenes_are_touched_too() -> None:
    assert behind_scenes(studio().state.episodes[EPISODE].route) == ("cutting", "mix")
    story = cut()
    for type_, scene, data in (
        ("scene.retimed", SCENE, {"frames": 120}),
        ("scene.omitted", "KESTREL-1/2", {}),
        ("scene.restored", "KESTREL-1/2", {}),
        ("scene.listed", "KESTREL-1/3", {"frames": 40}),
    ):
        event = story.tell(type_, scene, data, at=NOON)
        assert story.marks(event) == ("work-begun",), type_
    assert listed(story, "KESTREL-1/3") == [("listed", [(EPISODE, "cutting")])]
    assert listed(story, "KESTREL-1/2") == [
        ("omitted", [(EPISODE, "cutting")]),
        ("restored", [(EPISODE, "cutting")]),
    ]
    assert (EPISODE, "cutting") in listed(story)[0][1]


def test_a_scene_out_of_the_picture_has_nothing_of_its_own_to_look_at() -> None:
    story = begun()
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    story.tell("scene.omitted", SCENE, at=NOON)
    assert listed(story) == []
    story.tell("scene.restored", SCENE, at=EVENING)
    # its animation went back to the tray and was begun: that desk had the old length
    assert listed(story) == [("retimed", [(SCENE, "layout"), (SCENE, "animation")])]


def test_a_strike_of_the_change_takes_it_off_the_list() -> None:
    story = begun()
    retimed = story.tell("scene.retimed", SCENE, {"frames": 120}, at=TEN)
    strike = {"position": retimed.position, "why": "Wrong scene."}
    story.record(story.event("event.struck", "studio", strike))
    assert listed(story) == []


def test_a_start_told_late_had_begun_before_the_retime() -> None:
    story = studio()
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=NOON)
    assert listed(story) == []
    story.desk(SCENE, "layout", start=NINE)
    assert listed(story) == [("retimed", [(SCENE, "layout")])]
    # an instant in which both happened: the desk's work had begun
    story.desk(SCENE, "background", start=NOON)
    assert listed(story) == [("retimed", [(SCENE, "layout"), (SCENE, "background")])]


def test_a_retime_told_late_finds_nothing_begun_that_began_after_it() -> None:
    story = studio()
    story.desk(SCENE, "layout", start=NOON)
    assert "work-begun" not in story.marks(
        story.tell("scene.retimed", SCENE, {"frames": 120}, at=NINE)
    )
    assert listed(story) == []


def test_a_cut_told_late_had_begun_before_the_scene_was_listed() -> None:
    story = studio(scenes=2)
    story.tell("scene.listed", "KESTREL-1/3", {"frames": 40}, at=NOON)
    story.desk(EPISODE, "cutting", start=TEN)
    assert listed(story, "KESTREL-1/3") == [("listed", [(EPISODE, "cutting")])]


def test_a_retime_of_an_omitted_scene_leaves_the_cutting_alone() -> None:
    story = cut()
    story.tell("scene.omitted", SCENE, at=NOON)
    story.tell("look-at.answered", SCENE, {"answer": "fine"}, at=NOON)
    retimed = story.tell("scene.retimed", SCENE, {"frames": 120}, at=EVENING)
    assert (story.marks(retimed), listed(story)) == ((), [])
    story.tell("scene.restored", SCENE, at=EVENING)
    (own, restored) = listed(story)
    assert {item for item, _ in own[1]} == {SCENE}, "its own work had the old length"
    assert restored == ("restored", [(EPISODE, "cutting")])


def test_what_others_reuse_of_an_omitted_scene_is_looked_at_after_a_retime() -> None:
    story = begun()
    same = {"source": SCENE, "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/1", same)
    story.tell("scene.omitted", SCENE, at=TEN)
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=NOON)
    assert listed(story) == [("retimed", [(SCENE, "layout"), (SCENE, "animation")])]


def test_a_take_that_waits_is_done_at_the_new_length_and_not_listed() -> None:
    story = begun()
    story.call("R1", SCENE, "layout", "background", at=TEN, share=1)
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=NOON)
    assert listed(story) == [("retimed", [(SCENE, "animation")])]
    story.desk(SCENE, "layout", start=EVENING)
    assert listed(story) == [("retimed", [(SCENE, "animation")])]


def test_a_hand_off_and_a_call_of_one_instant_are_of_two_takes() -> None:
    story = begun()
    story.call("R1", SCENE, "layout", "background", at=NINE, share=1)
    story.tell("scene.retimed", SCENE, {"frames": 120}, at=NOON)
    assert listed(story) == [("retimed", [(SCENE, "animation")])]
