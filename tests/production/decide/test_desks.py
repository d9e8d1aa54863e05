"""What the desks may record, and what is refused of it."""

from typing import Any

import pytest

from service.production.decide import Accepted
from service.production.refusal import Code, Refusal
from service.production.state import visit_of
from service.production.takes import Phase
from service.vocabulary.instants import parse_instant
from tests.telling import Story, studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"


def at(department: str, **more: Any) -> dict[str, Any]:
    return {"department": department, "artist": "a1", **more}


def begun(*departments: str) -> Story:
    story = studio(scenes=2)
    story.desk(SCENE, *departments, start=NINE)
    return story


def done(*departments: str) -> Story:
    story = studio(scenes=2)
    story.desk(SCENE, *departments, start=NINE, end=TEN)
    return story


@pytest.mark.parametrize("type_", ["hand-out.made", "work.started", "hand-off.made"])
def test_a_fact_is_of_an_item_that_visits_the_department(type_: str) -> None:
    story = studio()
    assert story.codes(type_, "KESTREL-1/99", at("paint")) == {Code.UNKNOWN}
    assert story.codes(type_, SCENE, at("mix")) == {Code.NOT_ON_ROUTE}
    assert story.codes(type_, SCENE, at("nowhere")) == {Code.NOT_ON_ROUTE}
    assert story.codes(type_, "KESTREL-1", at("paint")) == {Code.NOT_ON_ROUTE}


@pytest.mark.parametrize("type_", ["hand-out.made", "work.started", "hand-off.made"])
def test_what_is_handed_off_stays_handed_off(type_: str) -> None:
    reasons = done("layout").refused(type_, SCENE, at("layout"), NOON)
    assert [reason.code for reason in reasons] == [Code.ILLEGAL_MOVE]
    assert "already handed off" in reasons[0].detail
    assert "retake" in reasons[0].detail


def test_what_is_started_is_not_started_again() -> None:
    assert begun("layout").codes("work.started", SCENE, at("layout"), TEN) == {Code.ILLEGAL_MOVE}


def test_a_wrong_take_is_refused_and_the_open_one_named() -> None:
    reasons = begun("layout").refused("hand-off.made", SCENE, at("layout", take=2), TEN)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.ILLEGAL_MOVE, "/data/take")
    ]
    assert "take 1" in reasons[0].detail


def test_the_take_that_was_open_then_may_be_named() -> None:
    story = begun("layout")
    story.call("R1", SCENE, "layout", "character", at=NOON)
    story.tell("hand-off.made", SCENE, at("layout", take=1), at=ELEVEN)
    assert story.take(SCENE, "layout").number == 2
    assert story.take(SCENE, "layout").carried_e4 == 0


def test_times_within_a_take_never_decrease() -> None:
    reasons = begun("layout").refused("hand-off.made", SCENE, at("layout"), "2031-03-04T08:59:00Z")
    assert [(reason.code, reason.member) for reason in reasons] == [(Code.TIME_ORDER, "/time")]
    assert "2031-03-04T09:00:00Z" in reasons[0].detail, "it says what stands in the way"


def test_a_hand_off_without_a_start_is_only_unusual() -> None:
    story = studio()
    event = story.tell("hand-off.made", SCENE, at("layout"), at=NINE)
    assert story.marks(event) == ("not-started",)
    assert story.take(SCENE, "layout").started_us == event.time_us


def test_missing_upstream_work_is_only_unusual() -> None:
    story = studio()
    event = story.tell("work.started", SCENE, at("camera"), at=NINE)
    assert "upstream-missing" in story.marks(event)


@pytest.mark.parametrize("type_", ["hand-out.made", "work.started", "hand-off.made"])
def test_nothing_is_done_to_an_omitted_scene(type_: str) -> None:
    story = studio()
    story.tell("scene.omitted", SCENE, at=TEN)
    reasons = story.refused(type_, SCENE, at("layout"), ELEVEN)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/subject")
    ]


def test_what_was_done_before_the_omission_may_be_told_after_it() -> None:
    story = studio()
    story.tell("scene.omitted", SCENE, at=TEN)
    story.tell("work.started", SCENE, at("layout"), at=NINE)
    assert story.take(SCENE, "layout").phase is Phase.WAITING, "the omission freed the desk"


def test_nothing_was_done_while_a_scene_was_omitted_even_when_told_after_its_return() -> None:
    story = studio()
    story.tell("scene.omitted", SCENE, at=NINE)
    story.tell("scene.restored", SCENE, at=ELEVEN)
    assert story.codes("work.started", SCENE, at("layout"), TEN) == {Code.CONTRADICTION}
    story.tell("work.started", SCENE, at("layout"), at=NOON)


# refused hand-offs


def back(sender: str, department: str, **more: Any) -> dict[str, Any]:
    return {"sender": sender, "department": department, **more}


def test_the_receiver_may_refuse_until_it_starts() -> None:
    story = done("layout")
    story.tell("hand-off.refused", SCENE, back("layout", "animation", share=0.25), at=ELEVEN)
    take = story.take(SCENE, "layout")
    assert (take.number, take.phase, take.goes_on_e4) == (1, Phase.WAITING, 2_500)


def test_all_of_the_work_goes_on_unless_a_share_is_stated() -> None:
    story = done("layout")
    story.tell("hand-off.refused", SCENE, back("layout", "animation"), at=ELEVEN)
    assert story.take(SCENE, "layout").goes_on_e4 == 10_000


def test_once_the_receiver_has_begun_it_took_the_hand_off() -> None:
    story = done("layout")
    story.desk(SCENE, "animation", start=ELEVEN)
    reasons = story.refused("hand-off.refused", SCENE, back("layout", "animation"), NOON)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.ILLEGAL_MOVE, "/data/department")
    ]


def test_another_receiver_may_still_refuse() -> None:
    story = done("layout")
    story.desk(SCENE, "animation", start=ELEVEN)
    story.tell("hand-off.refused", SCENE, back("layout", "background"), at=NOON)


def test_a_refusal_told_late_lies_before_the_start_of_the_receiver() -> None:
    story = done("layout")
    story.desk(SCENE, "animation", start=NOON)
    story.tell("hand-off.refused", SCENE, back("layout", "animation"), at=ELEVEN)


def test_only_who_receives_may_refuse() -> None:
    story = done("layout")
    assert story.codes("hand-off.refused", SCENE, back("layout", "camera"), ELEVEN) == {
        Code.NOT_ON_ROUTE
    }
    assert story.codes("hand-off.refused", SCENE, back("mix", "camera"), ELEVEN) == {
        Code.NOT_ON_ROUTE
    }
    assert story.codes("hand-off.refused", "KESTREL-1/9", back("layout", "animation")) == {
        Code.UNKNOWN
    }


@pytest.mark.parametrize("sender", ["layout", "animation"])
def test_what_was_not_handed_off_cannot_be_refused(sender: str) -> None:
    story = begun("animation")
    receiver = {"layout": "animation", "animation": "paint"}[sender]
    assert story.codes("hand-off.refused", SCENE, back(sender, receiver), ELEVEN) == {
        Code.ILLEGAL_MOVE
    }


def test_a_scene_may_refuse_what_an_episode_hands_off() -> None:
    story = studio(scenes=2)
    story.tell("hand-off.refused", "KESTREL-1", back("storyboard", "layout"), at=NINE)
    assert story.take("KESTREL-1", "storyboard").phase is Phase.WAITING
    other = studio(scenes=2)
    other.desk("KESTREL-1/2", "layout", start=NINE)
    assert other.codes("hand-off.refused", "KESTREL-1", back("storyboard", "layout"), TEN) == {
        Code.ILLEGAL_MOVE
    }


def test_an_episode_may_refuse_what_a_scene_hands_off() -> None:
    story = done("layout", "background", "animation", "paint", "camera")
    story.tell("hand-off.refused", SCENE, back("camera", "cutting"), at=ELEVEN)
    assert story.take(SCENE, "camera").phase is Phase.WAITING


def test_a_scene_may_refuse_an_element_until_one_of_its_users_starts() -> None:
    def painted() -> Story:
        story = studio(scenes=2)
        story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
        story.tell("element.used", "KESTREL:hall", {"scenes": [SCENE, "KESTREL-2/1"]})
        story.desk("KESTREL:hall", "background", start=NINE, end=TEN)
        return story

    story = painted()
    story.tell("hand-off.refused", "KESTREL:hall", back("background", "camera"), at=NOON)
    assert story.take("KESTREL:hall", "background").phase is Phase.WAITING
    story = painted()
    story.desk("KESTREL-2/1", "camera", start=ELEVEN)
    assert story.codes("hand-off.refused", "KESTREL:hall", back("background", "camera"), NOON) == {
        Code.ILLEGAL_MOVE
    }


def test_a_receiver_that_began_before_the_hand_off_may_refuse_what_it_gets() -> None:
    story = studio(scenes=2)
    story.desk(SCENE, "animation", start="2031-03-04T08:00:00Z")
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    story.tell("hand-off.refused", SCENE, back("layout", "animation"), at=ELEVEN)


# stoppages


def stopped(department: str = "paint", until: str = NOON) -> dict[str, Any]:
    return {"department": department, "expected_end_at": until}


def test_a_department_stops_and_goes_on() -> None:
    story = studio()
    assert story.codes("department.resumed", "studio", {"department": "paint"}, NINE) == {
        Code.CONTRADICTION
    }
    story.tell("department.stopped", "studio", stopped(), at=TEN)
    assert story.codes("department.stopped", "studio", stopped(), ELEVEN) == {Code.CONTRADICTION}
    story.tell("department.resumed", "studio", {"department": "paint"}, at=ELEVEN)
    assert story.codes("department.stopped", "studio", stopped(), TEN) == {Code.TIME_ORDER}
    story.tell("department.stopped", "studio", stopped(until="2031-03-05T09:00:00Z"), at=NOON)
    assert len(story.state.stoppages["paint"]) == 2


def test_the_end_of_a_stoppage_may_be_left_out_and_be_known_better_later() -> None:
    story = studio()
    story.tell("department.stopped", "studio", {"department": "paint"}, at=TEN)
    again = story.refused("department.stopped", "studio", {"department": "paint"}, ELEVEN)
    assert [reason.code for reason in again] == [Code.CONTRADICTION]
    assert story.codes("department.stopped", "studio", stopped(), NINE) == {Code.TIME_ORDER}
    story.tell("department.stopped", "studio", stopped(until="2031-03-05T09:00:00Z"), at=ELEVEN)
    (lasting,) = story.state.stoppages["paint"]
    assert (lasting.stopped_us, lasting.expected_end_us) == (
        parse_instant(TEN),
        parse_instant("2031-03-05T09:00:00Z"),
    )


def test_a_stoppage_whose_end_becomes_another_leaves_those_before_as_they_were() -> None:
    story = studio()
    story.tell("department.stopped", "studio", stopped(), at=NINE)
    story.tell("department.resumed", "studio", {"department": "paint"}, at=TEN)
    story.tell("department.stopped", "studio", stopped(), at=ELEVEN)
    before, lasting = story.state.stoppages["paint"]
    until = "2031-03-05T09:00:00Z"
    story.tell("department.stopped", "studio", stopped(until=until), at=NOON)
    expected = lasting._replace(expected_end_us=parse_instant(until))
    assert story.state.stoppages["paint"] == (before, expected)


def test_the_end_of_a_stoppage_may_be_taken_back_to_not_known() -> None:
    story = studio()
    story.tell("department.stopped", "studio", stopped(), at=TEN)
    taken_back = story.tell("department.stopped", "studio", {"department": "paint"}, at=ELEVEN)
    (lasting,) = story.state.stoppages["paint"]
    assert (lasting.stopped_us, lasting.expected_end_us) == (parse_instant(TEN), -1)
    assert story.marks(taken_back) == ("end-unknown",)
    (again,) = story.refused("department.stopped", "studio", {"department": "paint"}, NOON)
    assert (again.code, again.member) == (Code.CONTRADICTION, "/data/department")
    assert "nobody knows until when" in again.detail


def test_a_department_that_is_unknown_does_not_stop() -> None:
    assert studio().codes("department.stopped", "studio", stopped("nowhere"), NINE) == {
        Code.UNKNOWN
    }


def test_it_is_expected_to_go_on_after_it_stopped() -> None:
    reasons = studio().refused("department.stopped", "studio", stopped(until=NINE), NINE)
    assert [reason.member for reason in reasons] == ["/data/expected_end_at"]


def test_it_does_not_go_on_before_it_stopped() -> None:
    story = studio()
    story.tell("department.stopped", "studio", stopped(), at=TEN)
    assert story.codes("department.resumed", "studio", {"department": "paint"}, NINE) == {
        Code.TIME_ORDER
    }


def test_every_reason_is_given_at_once() -> None:
    story = studio()
    reasons = story.refused("department.stopped", "studio", stopped("nowhere", NINE), TEN)
    assert {reason.member for reason in reasons} == {"/data/department", "/data/expected_end_at"}


def test_a_batch_is_decided_in_its_order() -> None:
    story = studio()
    place = len(story.events) + 1
    held = story.event("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, NINE, place)
    freed = story.event("scene.freed", SCENE, {}, NINE, place + 1)
    assert isinstance(story.propose(held, freed), Accepted)
    turned = story.propose(freed, held)
    assert isinstance(turned, Refusal)
    assert [reason.place for reason in turned.reasons] == [0]


def test_a_hand_out_is_taken_back_until_it_is_started() -> None:
    story = studio()
    given = at("layout") | {"artist": "lo-07"}
    nobody = story.refused("hand-out.withdrawn", SCENE, at("layout"), NINE)
    assert [reason.code for reason in nobody] == [Code.CONTRADICTION]
    assert "handed out to nobody" in nobody[0].detail
    story.tell("hand-out.made", SCENE, given, at=NINE)
    assert story.codes("hand-out.withdrawn", SCENE, at("layout") | {"take": 2}, TEN) == {
        Code.ILLEGAL_MOVE
    }
    story.tell("hand-out.withdrawn", SCENE, at("layout"), at=TEN)
    assert visit_of(story.state, SCENE, "layout").current.artist is None
    assert story.codes("hand-out.withdrawn", SCENE, at("layout"), ELEVEN) == {Code.CONTRADICTION}
    story.tell("hand-out.made", SCENE, given | {"artist": "lo-08"}, at=ELEVEN)
    story.tell("work.started", SCENE, {"department": "layout"}, at=NOON)
    assert visit_of(story.state, SCENE, "layout").current.artist == "lo-08"
    reasons = story.refused("hand-out.withdrawn", SCENE, at("layout"), NOON)
    assert [reason.code for reason in reasons] == [Code.ILLEGAL_MOVE]
    assert "strike its start" in reasons[0].detail


def test_a_hand_out_is_taken_back_late_only_where_somebody_had_it_then() -> None:
    story = studio()
    story.tell("hand-out.made", SCENE, at("layout") | {"artist": "lo-07"}, at=TEN)
    assert story.codes("hand-out.withdrawn", SCENE, at("layout"), NINE) == {Code.CONTRADICTION}
    story.tell("hand-out.withdrawn", SCENE, at("layout"), at=ELEVEN)
    story.tell("hand-out.made", SCENE, at("layout") | {"artist": "lo-08"}, at=NOON)
    assert story.codes("hand-out.withdrawn", SCENE, at("layout"), ELEVEN) == {Code.CONTRADICTION}


def test_a_hand_out_may_be_taken_back_late_though_the_work_was_refused_since() -> None:
    story = studio()
    story.tell("hand-out.made", SCENE, at("layout") | {"artist": "lo-07"}, at=NINE)
    story.tell("work.started", SCENE, at("layout") | {"artist": "lo-08"}, at=ELEVEN)
    story.tell("hand-off.made", SCENE, at("layout"), at=NOON)
    refused = back("layout", "animation")
    story.tell("hand-off.refused", SCENE, refused, at="2031-03-04T13:00:00Z")
    story.tell("hand-out.withdrawn", SCENE, at("layout"), at=TEN)


def test_a_start_told_late_stands_before_what_took_the_hand_out_back() -> None:
    story = studio()
    story.tell("hand-out.made", SCENE, at("layout") | {"artist": "lo-07"}, at=NINE)
    story.tell("hand-out.withdrawn", SCENE, at("layout"), at=ELEVEN)
    # then it was on a desk when it was taken back, which cannot be
    assert story.codes("work.started", SCENE, at("layout"), TEN) == {Code.TIME_ORDER}
