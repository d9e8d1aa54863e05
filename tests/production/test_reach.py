"""What a retake reopens: a test for each sentence of the rule."""

from typing import Any

from service.production.reach import cancelled_by_withdrawal, chains_of, reopened_by, with_episodes
from service.production.refusal import Code
from service.production.state import Node
from service.production.takes import Phase
from tests.telling import Story, studio

DAY_1, DAY_2, DAY_3 = "2031-03-04T09:00:00Z", "2031-03-05T09:00:00Z", "2031-03-06T09:00:00Z"
CALLED, AFTER = "2031-03-10T09:00:00Z", "2031-03-11T09:00:00Z"
LATER = "2031-03-12T09:00:00Z"
LINE = ("layout", "background", "animation", "paint", "camera")
PICTURE = ("background", "character")
ALL = ("background", "character", "sound")


def shot(story: Story, *scenes: str) -> Story:
    """Scenes through the whole line up to camera, as far as they visit it."""
    for scene in scenes:
        own = story.state.scenes[scene].departments
        story.desk(scene, *own, start=DAY_1, end=DAY_2)
    return story


def cut(story: Story, episode: str) -> Story:
    story.desk(episode, "cutting", "mix", start=DAY_2, end=DAY_3)
    return story


def new_takes(story: Story, code: str) -> set[Node]:
    retake = story.state.retakes[code]
    return {step.node for step, _ in reopened_by(story.state, code, retake)}


def painted_hall(story: Story, *scenes: str) -> Story:
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": list(scenes)})
    story.desk("KESTREL:hall", "background", start=DAY_1, end=DAY_2)
    return story


# strands


def test_a_repainted_background_reaches_camera_but_no_animation() -> None:
    story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "background", "background", at=CALLED)
    assert story.reached("R1") == [
        ("KESTREL-1/1", "background"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    ]
    assert new_takes(story, "R1") == set(story.reached("R1"))


def test_animation_reaches_paint_onward_but_never_the_background() -> None:
    story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    assert story.reached("R1") == [
        ("KESTREL-1/1", "animation"),
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    ]


def test_a_picture_fix_of_unchanged_length_reaches_cutting_but_not_the_mix() -> None:
    story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=CALLED)
    assert ("KESTREL-1", "cutting") in story.reached("R1")
    assert ("KESTREL-1", "mix") not in story.reached("R1")


def test_a_retime_of_new_action_carries_every_strand() -> None:
    story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "animation", *ALL, at=CALLED)
    assert story.reached("R1")[-1] == ("KESTREL-1", "mix")
    assert ("KESTREL-1/1", "background") not in story.reached("R1")


def test_an_episode_visit_reopens_all_that_stands_behind_it() -> None:
    story = shot(studio(scenes=2), "KESTREL-1/1")
    story.call("R1", "KESTREL-1", "storyboard", "character", at=CALLED)
    reached = set(story.reached("R1"))
    assert {("KESTREL-1/1", name) for name in ("layout", "animation", "paint", "camera")} <= reached
    assert ("KESTREL-1/2", "layout") in reached
    assert not [node for node in reached if node[0].startswith("KESTREL-2")]
    assert new_takes(story, "R1") == {
        ("KESTREL-1", "storyboard"),
        *(("KESTREL-1/1", name) for name in ("layout", "animation", "paint", "camera")),
    }


# elements


def test_a_repainted_element_reaches_every_scene_that_uses_it() -> None:
    story = studio(scenes=8)
    users = [f"KESTREL-{episode}/{scene}" for episode in (1, 2) for scene in range(1, 8)]
    painted_hall(story, *users)
    shot(story, *users)
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED)
    assert story.reached("R1") == [
        ("KESTREL:hall", "background"),
        *((scene, "camera") for scene in users),
        ("KESTREL-1", "cutting"),
        ("KESTREL-2", "cutting"),
    ]
    assert len(users) == 14
    assert new_takes(story, "R1") == set(story.reached("R1")) - {
        ("KESTREL-1", "cutting"),
        ("KESTREL-2", "cutting"),
    }


def test_a_changed_model_sheet_reaches_animation_onward() -> None:
    story = studio(scenes=2)
    story.tell("element.listed", "KESTREL:fox", {"kind": "model-sheet", "drawings": 8})
    story.tell("element.used", "KESTREL:fox", {"scenes": ["KESTREL-1/1"]})
    story.desk("KESTREL:fox", "design", start=DAY_1, end=DAY_1)
    shot(story, "KESTREL-1/1")
    story.call(
        "R1", "KESTREL:fox", "design", "character", at=CALLED, kind="revision", asked_by="client"
    )
    assert story.reached("R1") == [
        ("KESTREL:fox", "design"),
        ("KESTREL-1/1", "animation"),
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    ]


# same-as


def reused(story: Story, scene: str, source: str, joins: str, **more: Any) -> Story:
    story.tell(
        "same-as.declared",
        scene,
        {"source": source, "joins": joins, "strands": ["character"], **more},
    )
    return story


def test_a_retake_of_the_source_reaches_the_scene_that_reuses_it_where_it_joins() -> None:
    story = reused(studio(), "KESTREL-2/1", "KESTREL-1/1", "camera")
    shot(story, "KESTREL-1/1", "KESTREL-2/1")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    mine = [node for node in story.reached("R1") if node[0] == "KESTREL-2/1"]
    assert mine == [("KESTREL-2/1", "camera")]
    assert ("KESTREL-2", "cutting") in story.reached("R1")


def test_a_retake_of_the_scene_that_reuses_never_reaches_its_source() -> None:
    story = reused(studio(), "KESTREL-2/1", "KESTREL-1/1", "camera")
    shot(story, "KESTREL-1/1", "KESTREL-2/1")
    story.call("R1", "KESTREL-2/1", "camera", "character", at=CALLED)
    assert not [node for node in story.reached("R1") if node[0].startswith("KESTREL-1")]


def test_what_is_not_reused_is_not_reached() -> None:
    story = reused(studio(), "KESTREL-2/1", "KESTREL-1/1", "camera")
    shot(story, "KESTREL-1/1", "KESTREL-2/1")
    story.call("R1", "KESTREL-1/1", "background", "background", at=CALLED)
    assert not [node for node in story.reached("R1") if node[0].startswith("KESTREL-2")]


def test_a_retake_behind_the_skipped_visits_stays_in_the_source() -> None:
    story = reused(studio(), "KESTREL-2/1", "KESTREL-1/1", "camera")
    shot(story, "KESTREL-1/1", "KESTREL-2/1")
    story.call("R1", "KESTREL-1/1", "camera", "character", at=CALLED)
    assert story.reached("R1") == [("KESTREL-1/1", "camera"), ("KESTREL-1", "cutting")]


# started or not


def test_reach_goes_through_visits_that_have_not_started() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", start=DAY_1, end=DAY_2)
    story.desk("KESTREL-1/1", "camera", start=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    assert story.reached("R1") == [
        ("KESTREL-1/1", "animation"),
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    ]
    assert new_takes(story, "R1") == {("KESTREL-1/1", "animation"), ("KESTREL-1/1", "camera")}
    assert story.take("KESTREL-1/1", "paint").number == 1, "only later"


def test_naming_a_visit_that_never_started_is_refused() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", start=DAY_1, end=DAY_2)
    reasons = story.refused(*story.call_of("R1", "KESTREL-1/1", "paint", "character"), CALLED)
    assert [reason.code for reason in reasons] == [Code.CONTRADICTION]
    assert "nothing to reopen" in reasons[0].detail


def test_naming_a_visit_that_had_not_started_by_then_is_refused() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", start=DAY_2)
    call = story.call_of("R1", "KESTREL-1/1", "layout", "character")
    assert story.codes(*call, DAY_1) == {Code.CONTRADICTION}
    story.tell(*call, at=DAY_2)


def test_naming_what_a_receiver_sent_back_is_legal() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", start=DAY_1, end=DAY_2)
    back = {"sender": "layout", "department": "animation", "share": 0.25}
    story.tell("hand-off.refused", "KESTREL-1/1", back, at=DAY_2)
    story.call("R1", "KESTREL-1/1", "layout", "character", at=CALLED)
    take = story.take("KESTREL-1/1", "layout")
    assert (take.number, take.shares) == (1, (("R1", 5_000),))


def test_a_start_told_late_reopens_the_visit() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", start=DAY_1, end=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    assert ("KESTREL-1/1", "paint") not in new_takes(story, "R1")
    started = story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=DAY_3)
    assert ("KESTREL-1/1", "paint") in new_takes(story, "R1")
    assert story.take("KESTREL-1/1", "paint").phase is Phase.WAITING
    assert "late" in story.marks(started)


def test_a_start_at_the_moment_of_the_call_counts_as_before_it() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", start=DAY_1, end=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=CALLED)
    assert ("KESTREL-1/1", "paint") in new_takes(story, "R1")


def test_a_start_after_the_call_is_no_retake() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", start=DAY_1, end=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=AFTER)
    assert ("KESTREL-1/1", "paint") not in new_takes(story, "R1")


def test_a_reach_is_kept_as_it_was_called() -> None:
    story = studio(scenes=2)
    shot(story, "KESTREL-1/1")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    before = story.reached("R1")
    story.tell(
        "same-as.declared",
        "KESTREL-1/2",
        {"source": "KESTREL-1/1", "joins": "camera", "strands": ["character"]},
        at=AFTER,
    )
    assert story.reached("R1") == before


# hook-ups


def hooked(story: Story) -> Story:
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    story.tell("hook-up.declared", "KESTREL-1/2", {"to": "KESTREL-1/3"})
    return story


def test_a_hook_up_is_only_listed_as_one_to_look_at() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    retake = story.call("R1", "KESTREL-1/2", "animation", "character", at=CALLED)
    assert {item for item, _ in story.reached("R1")} == {"KESTREL-1/2", "KESTREL-1"}
    assert [(look.scene, look.reason) for look in retake.look_at] == [
        ("KESTREL-1/1", "hook-up"),
        ("KESTREL-1/3", "hook-up"),
    ]
    assert story.take("KESTREL-1/1", "animation").number == 1


def test_a_hook_up_counts_in_both_directions_and_one_scene_far() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    retake = story.call("R1", "KESTREL-1/3", "animation", "character", at=CALLED)
    assert [look.scene for look in retake.look_at] == ["KESTREL-1/2"]


def test_neighbours_of_scenes_that_have_not_begun_are_not_listed() -> None:
    story = hooked(studio())
    painted_hall(story, "KESTREL-1/1")
    retake = story.call("R1", "KESTREL:hall", "background", "background", at=CALLED)
    assert ("KESTREL-1/1", "camera") in story.reached("R1")
    assert retake.look_at == ()


def test_a_neighbour_that_is_reached_anyway_is_not_listed() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2")
    items = ["KESTREL-1/1", "KESTREL-1/2"]
    retake = story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED, items=items)
    assert [look.scene for look in retake.look_at] == ["KESTREL-1/3"]


def test_a_neighbour_in_a_delivered_episode_is_left() -> None:
    story = studio()
    story.tell("hook-up.declared", "KESTREL-1/3", {"to": "KESTREL-2/1"})
    shot(story, "KESTREL-1/3", "KESTREL-2/1")
    story.tell("episode.delivered", "KESTREL-2", at=DAY_3)
    assert story.call("R1", "KESTREL-1/3", "animation", "character", at=CALLED).look_at == ()


# marks


def marked(**marks: str) -> list[dict[str, str]]:
    return [{"scene": f"KESTREL-1/{name[1:]}", "mark": mark} for name, mark in marks.items()]


def used_thrice() -> Story:
    users = ("KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    return shot(painted_hall(studio(), *users), *users)


def test_a_scene_marked_to_leave_is_left() -> None:
    story = used_thrice()
    dependents = marked(s2="leave")
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED, dependents=dependents)
    assert "KESTREL-1/2" not in {item for item, _ in story.reached("R1")}
    assert story.take("KESTREL-1/2", "camera").number == 1
    assert ("KESTREL-1", "cutting") in story.reached("R1"), "the others still reach it"


def test_a_scene_marked_to_look_at_is_listed_with_where_it_is_reached() -> None:
    story = used_thrice()
    retake = story.call(
        "R1", "KESTREL:hall", "background", "background", at=CALLED, dependents=marked(s2="look-at")
    )
    assert "KESTREL-1/2" not in {item for item, _ in story.reached("R1")}
    (look,) = retake.look_at
    assert (look.scene, look.reason, look.answer) == ("KESTREL-1/2", "marked", "")
    assert [step.node for step in look.via] == [("KESTREL-1/2", "camera")]


def test_a_hook_up_may_be_marked_redo_or_leave() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    retake = story.call(
        "R1",
        "KESTREL-1/2",
        "animation",
        "character",
        at=CALLED,
        dependents=marked(s1="redo", s3="leave"),
    )
    assert ("KESTREL-1/1", "animation") in story.reached("R1")
    assert story.take("KESTREL-1/1", "paint").number == 2
    assert retake.look_at == ()


def test_a_hook_up_of_a_hook_up_may_be_marked_too() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    story.call(
        "R1",
        "KESTREL-1/1",
        "animation",
        "character",
        at=CALLED,
        dependents=marked(s2="redo", s3="redo"),
    )
    assert {item for item, _ in story.reached("R1")} == {
        "KESTREL-1/1",
        "KESTREL-1/2",
        "KESTREL-1/3",
        "KESTREL-1",
    }


def test_a_mark_that_cuts_off_a_scene_does_not_overrule_redo_for_it() -> None:
    story = reused(
        reused(studio(), "KESTREL-1/2", "KESTREL-1/1", "paint"),
        "KESTREL-1/3",
        "KESTREL-1/2",
        "camera",
    )
    shot(story, "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    call = ("R1", "KESTREL-1/1", "animation", "character")
    story.call(*call, at=CALLED, dependents=marked(s2="leave", s3="redo"))
    items = {item for item, _ in story.reached("R1")}
    assert "KESTREL-1/2" not in items
    assert ("KESTREL-1/3", "camera") in story.reached("R1")


def test_a_mark_that_cuts_off_a_scene_leaves_it() -> None:
    story = reused(
        reused(studio(), "KESTREL-1/2", "KESTREL-1/1", "paint"),
        "KESTREL-1/3",
        "KESTREL-1/2",
        "camera",
    )
    shot(story, "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    story.call(
        "R1", "KESTREL-1/1", "animation", "character", at=CALLED, dependents=marked(s2="leave")
    )
    assert "KESTREL-1/3" not in {item for item, _ in story.reached("R1")}


def test_what_was_marked_is_recorded_with_the_call() -> None:
    story = used_thrice()
    dependents = marked(s1="leave", s2="look-at")
    retake = story.call(
        "R1", "KESTREL:hall", "background", "background", at=CALLED, dependents=dependents
    )
    assert retake.marks == (("KESTREL-1/1", "leave"), ("KESTREL-1/2", "look-at"))
    assert [look.scene for look in retake.look_at] == ["KESTREL-1/2"]


# delivered episodes


def test_scenes_of_delivered_episodes_are_left() -> None:
    users = ("KESTREL-1/1", "KESTREL-2/1")
    story = shot(painted_hall(studio(), *users), *users)
    story.tell("episode.delivered", "KESTREL-1", at=DAY_3)
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED)
    assert story.reached("R1") == [
        ("KESTREL:hall", "background"),
        ("KESTREL-2/1", "camera"),
        ("KESTREL-2", "cutting"),
    ]


def test_scenes_of_delivered_episodes_are_reopened_when_named_and_so_is_their_cutting() -> None:
    story = cut(shot(studio(), "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    story.tell("episode.delivered", "KESTREL-1", at=DAY_3)
    story.call("R1", "KESTREL-1/1", "paint", "character", at=CALLED)
    assert new_takes(story, "R1") == {
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    }


def test_a_scene_of_a_delivered_episode_marked_redo_is_named() -> None:
    users = ("KESTREL-1/1", "KESTREL-1/2", "KESTREL-2/1")
    story = shot(painted_hall(studio(), *users), *users)
    story.tell("episode.delivered", "KESTREL-1", at=DAY_3)
    story.call(
        "R1", "KESTREL:hall", "background", "background", at=CALLED, dependents=marked(s2="redo")
    )
    assert ("KESTREL-1/2", "camera") in story.reached("R1")
    assert ("KESTREL-1/1", "camera") not in story.reached("R1")
    assert ("KESTREL-1", "cutting") in story.reached("R1")


def test_naming_a_scene_names_its_episode() -> None:
    story = studio()
    assert with_episodes(story.state, ["KESTREL-1/1", "KESTREL:hall"]) == {
        "KESTREL-1/1",
        "KESTREL-1",
        "KESTREL:hall",
    }


# because


def test_because_is_the_shortest_chain() -> None:
    story = used_thrice()
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED)
    reach = story.state.retakes["R1"].reach
    assert chains_of(reach)(("KESTREL-1/2", "camera")) == (
        ("KESTREL:hall", "background"),
        ("KESTREL-1/2", "camera"),
    )


def test_of_equally_short_chains_because_is_the_first_in_the_total_order() -> None:
    story = used_thrice()
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED)
    reach = story.state.retakes["R1"].reach
    assert chains_of(reach)(("KESTREL-1", "cutting")) == (
        ("KESTREL:hall", "background"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    )


def test_a_named_visit_is_its_own_reason() -> None:
    story = shot(studio(), "KESTREL-1/1", "KESTREL-1/2")
    items = ["KESTREL-1/2", "KESTREL-1/1"]
    story.call("R1", "KESTREL-1", "camera", "character", at=CALLED, items=items)
    reach = story.state.retakes["R1"].reach
    assert [chains_of(reach)((item, "camera")) for item in items] == [
        ((item, "camera"),) for item in items
    ]


def test_a_shorter_chain_wins_over_an_earlier_name() -> None:
    # 1/10 is named at camera; 1/9 comes first in the order, but is two steps from cutting
    story = shot(studio(scenes=10), "KESTREL-1/9", "KESTREL-1/10")
    story.call("R1", "KESTREL-1/9", "paint", "character", at=CALLED)
    story.call("R2", "KESTREL-1/10", "camera", "character", at=CALLED)
    assert len(chains_of(story.state.retakes["R1"].reach)(("KESTREL-1", "cutting"))) == 3
    assert len(chains_of(story.state.retakes["R2"].reach)(("KESTREL-1", "cutting"))) == 2


# shares


def test_a_number_of_drawings_is_a_share_of_each_item() -> None:
    story = shot(studio(scenes=1), "KESTREL-1/1")
    story.tell("scene.retimed", "KESTREL-1/1", {"frames": 80, "drawings": 30})
    story.call("R1", "KESTREL-1/1", "paint", "character", at=CALLED, drawings=7)
    assert story.take("KESTREL-1/1", "paint").shares == (("R1", 2_334),)  # 7 / 30, rounded up


def test_an_episode_is_touched_by_its_scenes_shares_each_by_its_part_of_the_length() -> None:
    story = studio(scenes=0, episodes=("KESTREL-1",))
    for number, drawings in ((1, 40), (2, 10)):
        story.tell("scene.listed", f"KESTREL-1/{number}", {"frames": 80, "drawings": drawings})
    cut(shot(story, "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    items = ["KESTREL-1/1", "KESTREL-1/2"]
    story.call("R1", "KESTREL-1", "camera", "character", at=CALLED, drawings=5, items=items)
    # an eighth of one scene and a half of the other, both of 80 frames
    assert story.take("KESTREL-1", "cutting").shares == (("R1", 3_125),)


# scenes out of the picture


def test_a_retake_that_reaches_omitted_scenes_alone_leaves_the_cutting_as_it_is() -> None:
    story = cut(shot(studio(scenes=2), "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    story.tell("scene.omitted", "KESTREL-1/1", at=DAY_3)
    story.call("R1", "KESTREL-1/1", "layout", *ALL, at=CALLED, share=1)
    assert {item for item, _ in story.reached("R1")} == {"KESTREL-1/1"}
    assert story.take("KESTREL-1", "cutting").number == 1
    # beneath the omission the call stands: restored, the scene is to be redone
    story.tell("scene.restored", "KESTREL-1/1", at=AFTER)
    assert story.take("KESTREL-1/1", "layout").number == 2


def test_an_element_used_by_omitted_scenes_alone_reopens_no_cutting_either() -> None:
    story = painted_hall(studio(scenes=2), "KESTREL-1/1", "KESTREL-1/2")
    cut(shot(story, "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    story.tell("scene.omitted", "KESTREL-1/1", at=DAY_3)
    story.call("R1", "KESTREL:hall", "background", "background", at=CALLED, share=1)
    assert ("KESTREL-1", "cutting") in story.reached("R1"), "the other scene is in the picture"
    assert story.take("KESTREL-1", "cutting").shares == (("R1", 10_000),)
    story.tell("scene.omitted", "KESTREL-1/2", at=AFTER)
    story.desk("KESTREL:hall", "background", start=AFTER, end=AFTER)
    story.call("R2", "KESTREL:hall", "background", "background", at=LATER, share=1)
    assert ("KESTREL-1", "cutting") not in story.reached("R2")


def test_neighbours_of_an_omitted_scene_are_not_to_be_looked_at() -> None:
    story = shot(studio(scenes=2), "KESTREL-1/1", "KESTREL-1/2")
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    call = story.call("R1", "KESTREL-1/1", "camera", "character", at=CALLED)
    assert [look.scene for look in call.look_at] == ["KESTREL-1/2"]
    story.tell("scene.omitted", "KESTREL-1/1", at=AFTER)
    assert story.call("R2", "KESTREL-1/1", "layout", "character", at=LATER).look_at == ()


# withdrawing


def withdrawn(
    story: Story, code: str, at: str = "2031-03-12T09:00:00Z", type_: str = "retake.withdrawn"
) -> None:
    story.tell(type_, story.state.retakes[code].subject, {"retake": code}, at=at)


def test_withdrawing_cancels_takes_that_have_not_begun() -> None:
    for type_, standing in (
        ("retake.withdrawn", "withdrawn"),
        ("retake.bought-as-is", "bought-as-is"),
    ):
        story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
        before = story.state.visits
        story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
        withdrawn(story, "R1", type_=type_)
        assert new_takes(story, "R1") == set()
        for item, visits in before.items():
            assert {name: visit.takes for name, visit in visits.items()} == {
                name: visit.takes for name, visit in story.state.visits[item].items()
            }
        assert story.state.retakes["R1"].standing == standing


def test_withdrawing_leaves_a_started_take_and_those_that_follow_it() -> None:
    story = cut(shot(studio(scenes=1), "KESTREL-1/1"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=AFTER)
    withdrawn(story, "R1")
    assert new_takes(story, "R1") == {
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/1", "camera"),
        ("KESTREL-1", "cutting"),
    }
    assert story.take("KESTREL-1/1", "animation").number == 1, "it stood before the started take"


def test_withdrawing_leaves_what_follows_a_started_take_through_one_not_yet_begun() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", "camera", start=DAY_1, end=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    story.tell("work.started", "KESTREL-1/1", {"department": "animation"}, at=AFTER)
    withdrawn(story, "R1")
    assert ("KESTREL-1/1", "camera") in new_takes(story, "R1")


def test_a_take_begun_before_the_call_is_no_started_take_of_that_retake() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", "paint", start=DAY_1, end=DAY_2)
    story.desk("KESTREL-1/1", "camera", start=DAY_3)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    withdrawn(story, "R1")
    assert new_takes(story, "R1") == set()
    camera = story.take("KESTREL-1/1", "camera")
    assert (camera.number, camera.phase, camera.shares) == (2, Phase.WAITING, ())
    assert camera.carried_e4 > 0, "what was taken back is still to be done"


def test_withdrawing_one_retake_leaves_anothers_share() -> None:
    story = shot(studio(scenes=1), "KESTREL-1/1")
    story.call("R1", "KESTREL-1/1", "paint", "character", at=CALLED, share=0.25)
    story.call("R2", "KESTREL-1/1", "paint", "character", at=CALLED, share=0.5)
    withdrawn(story, "R1")
    assert story.take("KESTREL-1/1", "paint").shares == (("R2", 5_000),)


def test_a_start_told_late_does_not_bring_a_withdrawn_retake_to_life() -> None:
    story = studio(scenes=1)
    story.desk("KESTREL-1/1", "layout", "animation", start=DAY_1, end=DAY_2)
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    withdrawn(story, "R1")
    story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=DAY_3)
    story.tell("hand-off.made", "KESTREL-1/1", {"department": "paint"}, at=DAY_3)
    assert new_takes(story, "R1") == set()
    assert story.take("KESTREL-1/1", "paint").number == 1


def test_what_a_withdrawal_would_cancel_is_worked_out_before() -> None:
    story = shot(studio(scenes=1), "KESTREL-1/1")
    retake = story.call("R1", "KESTREL-1/1", "paint", "character", at=CALLED)
    assert cancelled_by_withdrawal(story.state, "R1", retake) == story.reached("R1")
    story.tell("work.started", "KESTREL-1/1", {"department": "paint"}, at=AFTER)
    assert cancelled_by_withdrawal(story.state, "R1", retake) == []


# looked at


def answered(story: Story, scene: str, answer: str, at: str = AFTER, **more: str) -> None:
    story.tell("look-at.answered", scene, {"retake": "R1", "answer": answer, **more}, at=at)


def test_fine_as_it_is_changes_no_visit() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    before = story.state.visits
    answered(story, "KESTREL-1/2", "fine")
    assert story.state.visits == before
    assert [look.answer for look in story.state.retakes["R1"].look_at] == ["fine"]


def test_a_hook_up_to_be_redone_grows_the_reach_and_lists_its_neighbours() -> None:
    story = shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    story.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED)
    answered(story, "KESTREL-1/2", "redo")
    assert ("KESTREL-1/2", "animation") in story.reached("R1")
    assert story.take("KESTREL-1/2", "camera").number == 2
    looks = story.state.retakes["R1"].look_at
    assert [(look.scene, look.answer) for look in looks] == [
        ("KESTREL-1/2", "redo"),
        ("KESTREL-1/3", ""),
    ]
    answered(story, "KESTREL-1/3", "redo", back_to="paint")
    assert ("KESTREL-1/3", "animation") not in story.reached("R1")
    assert story.take("KESTREL-1/3", "paint").number == 2


def test_a_marked_scene_to_be_redone_begins_where_the_retake_reaches_it() -> None:
    story = used_thrice()
    story.call(
        "R1", "KESTREL:hall", "background", "background", at=CALLED, dependents=marked(s2="look-at")
    )
    answered(story, "KESTREL-1/2", "redo")
    assert story.take("KESTREL-1/2", "camera").number == 2
    assert chains_of(story.state.retakes["R1"].reach)(("KESTREL-1/2", "camera")) == (
        ("KESTREL:hall", "background"),
        ("KESTREL-1/2", "camera"),
    )


def test_the_other_marks_of_the_call_hold_when_a_scene_is_redone() -> None:
    story = reused(
        reused(studio(), "KESTREL-1/2", "KESTREL-1/1", "paint"),
        "KESTREL-1/3",
        "KESTREL-1/2",
        "camera",
    )
    shot(story, "KESTREL-1/1", "KESTREL-1/2", "KESTREL-1/3")
    for mark in ("leave", "look-at"):
        other = Story()
        other.state, other.events = story.state, list(story.events)
        dependents = marked(s2="look-at", s3=mark)
        other.call("R1", "KESTREL-1/1", "animation", "character", at=CALLED, dependents=dependents)
        answered(other, "KESTREL-1/2", "redo")
        assert ("KESTREL-1/2", "paint") in other.reached("R1")
        assert "KESTREL-1/3" not in {item for item, _ in other.reached("R1")}
        assert other.take("KESTREL-1/3", "camera").number == 1
        listed = [look.scene for look in other.state.retakes["R1"].look_at if not look.answer]
        assert listed == (["KESTREL-1/3"] if mark == "look-at" else [])


def test_what_was_handed_off_since_is_done_anew_for_a_scene_redone() -> None:
    story = cut(shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "camera", "character", at=CALLED)
    story.desk("KESTREL-1/1", "camera", start=AFTER, end=AFTER)
    story.desk("KESTREL-1", "cutting", start=AFTER, end=AFTER)
    assert story.take("KESTREL-1", "cutting").number == 2
    answered(story, "KESTREL-1/2", "redo", at="2031-03-12T09:00:00Z")
    assert story.take("KESTREL-1", "cutting").number == 3


def test_what_still_waits_is_touched_more_by_a_scene_redone() -> None:
    story = cut(shot(hooked(studio()), "KESTREL-1/1", "KESTREL-1/2"), "KESTREL-1")
    story.call("R1", "KESTREL-1/1", "camera", "character", at=CALLED)
    # half of one scene in three of the same length, then half of another
    assert story.take("KESTREL-1", "cutting").shares == (("R1", 1_667),)
    answered(story, "KESTREL-1/2", "redo")
    assert story.take("KESTREL-1", "cutting").shares == (("R1", 3_334),)
