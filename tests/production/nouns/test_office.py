"""What facts of the office change: omission as a mask, above all."""

from datetime import date
from typing import Any

from service.production.folding import fold
from service.production.reach import reopened_by
from service.production.state import EMPTY, STUDIO_CALENDAR
from service.production.takes import Phase, take_work_e4
from service.production.work import terms_of
from tests.telling import Story, studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"


def phases(story: Story, scene: str = SCENE) -> dict[str, Phase]:
    return {name: story.take(scene, name).phase for name in story.state.scenes[scene].departments}


# omission


def half_way() -> Story:
    story = studio()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    story.desk(SCENE, "animation", start=TEN)
    return story


def test_an_omission_frees_the_desks_and_leaves_the_rest() -> None:
    story = half_way()
    story.tell("scene.omitted", SCENE, at=ELEVEN)
    assert story.state.scenes[SCENE].omitted
    assert phases(story) == {
        "layout": Phase.HANDED_OFF,
        "background": Phase.WAITING,
        "animation": Phase.WAITING,
        "paint": Phase.WAITING,
        "camera": Phase.WAITING,
    }


def test_restored_visits_return_as_they_were_and_those_on_a_desk_with_their_full_work() -> None:
    story = half_way()
    before = {name: story.take(SCENE, name) for name in ("layout", "background", "camera")}
    story.tell("scene.omitted", SCENE, at=ELEVEN)
    story.tell("scene.restored", SCENE, at=NOON)
    assert not story.state.scenes[SCENE].omitted
    assert {name: story.take(SCENE, name) for name in before} == before
    animation = story.take(SCENE, "animation")
    assert (animation.number, animation.phase, animation.started_us) == (1, Phase.WAITING, -1)
    assert take_work_e4(animation, terms_of(story.state, SCENE, "animation")(None)) == 50_000


def test_a_retake_on_a_desk_returns_with_the_retakes_full_work() -> None:
    story = half_way()
    story.call("R1", SCENE, "layout", "background", at=TEN)
    story.desk(SCENE, "layout", start=TEN)
    story.tell("scene.omitted", SCENE, at=ELEVEN)
    story.tell("scene.restored", SCENE, at=NOON)
    layout = story.take(SCENE, "layout")
    assert (layout.number, layout.phase, layout.shares) == (2, Phase.WAITING, (("R1", 5_000),))


def test_reach_still_applies_beneath_an_omission() -> None:
    story = half_way()
    story.tell("scene.omitted", SCENE, at=ELEVEN)
    retake = story.call("R1", SCENE, "layout", "character", at=NOON)
    assert [step.node for step, _ in reopened_by(story.state, "R1", retake)] == [(SCENE, "layout")]
    story.tell("scene.restored", SCENE, at=NOON)
    assert story.take(SCENE, "layout").number == 2


def test_a_start_and_hand_off_told_late_lie_before_the_omission() -> None:
    story = half_way()
    story.tell("scene.omitted", SCENE, at=ELEVEN)
    story.tell("work.started", SCENE, {"department": "background"}, at=TEN)
    assert story.take(SCENE, "background").phase is Phase.WAITING
    story.tell("hand-off.made", SCENE, {"department": "background"}, at=ELEVEN)
    assert story.take(SCENE, "background").phase is Phase.HANDED_OFF, "at that very moment"
    story.tell("hand-off.made", SCENE, {"department": "animation"}, at=ELEVEN)
    story.tell("scene.restored", SCENE, at=NOON)
    assert story.take(SCENE, "animation").phase is Phase.HANDED_OFF


def test_a_scene_may_be_omitted_again() -> None:
    story = half_way()
    for from_at, until in ((ELEVEN, NOON), ("2031-03-05T09:00:00Z", "2031-03-05T10:00:00Z")):
        story.tell("scene.omitted", SCENE, at=from_at)
        story.tell("scene.restored", SCENE, at=until)
    assert len(story.state.scenes[SCENE].omissions) == 2


# the rest of the office


def test_a_calendar_set_again_for_a_date_takes_its_place() -> None:
    story = studio()
    hours = {"days": ["saturday"], "opens": "22:00", "closes": "06:00"}
    data: dict[str, Any] = {"shifts": [hours], "days_off": ["2031-04-18"]}
    story.tell("calendar.set", "studio", {**data, "from_on": "2031-06-01"})
    story.tell("calendar.set", "studio", {**data, "from_on": "2031-01-01"})
    calendar = story.state.calendars[STUDIO_CALENDAR]
    assert calendar.zone == "Europe/Lisbon"
    assert [version.from_on for version in calendar.versions] == [
        date(2031, 1, 1),
        date(2031, 6, 1),
    ]
    (shift,) = calendar.versions[0].shifts
    assert (shift.weekdays, shift.opens_min, shift.closes_min) == ((6,), 22 * 60, 30 * 60)
    assert calendar.versions[0].days_off == {date(2031, 4, 18)}


def test_crews_lie_in_order_of_date() -> None:
    story = studio()
    for from_on in ("2031-09-01", "2031-05-01"):
        crew = {
            "department": "paint",
            "artists": 2,
            "units_per_artist_day": 0.05,
            "minutes_per_artist_day": 480,
            "from_on": from_on,
        }
        story.tell("crew.set", "studio", crew)
    crews = story.state.crews["paint"]
    assert [crew.from_on.month for crew in crews] == [1, 5, 9]
    assert crews[1].rate_e4 == 500


def test_a_reused_scene_and_an_element_take_visits_away_together() -> None:
    story = studio()
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": [SCENE]})
    same = {"source": "KESTREL-1/2", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", SCENE, same)
    assert story.state.scenes[SCENE].departments == ("layout", "camera")
    assert story.state.reusers["KESTREL-1/2"] == (SCENE,)
    assert story.state.elements["KESTREL:hall"].scenes == (SCENE,)


def test_a_hook_up_is_known_from_both_sides_in_scene_order() -> None:
    story = studio(scenes=12)
    for to in ("KESTREL-1/10", "KESTREL-1/9"):
        story.tell("hook-up.declared", SCENE, {"to": to})
    assert story.state.hook_ups[SCENE] == ("KESTREL-1/9", "KESTREL-1/10")
    assert story.state.hook_ups["KESTREL-1/9"] == (SCENE,)


def test_the_same_facts_give_the_same_state() -> None:
    assert fold(EMPTY, half_way().events) == half_way().state
