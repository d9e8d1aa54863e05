"""What may be recorded of the approval of designs, and what it changes."""

from typing import Any

import pytest

from service.production.approval import approval_standing, unapproved
from service.production.graph import predecessors, successors
from service.production.marking import upstream_missing
from service.production.refusal import Code
from service.production.takes import Phase
from service.vocabulary.instants import parse_instant
from tests.telling import APPROVING, ROUTE, Story, studio

SCENE = "KESTREL-1/1"
IMP, HAT, FOX = "KESTREL:imp", "KESTREL:hat", "KESTREL:fox"
EIGHT, NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (8, 9, 10, 11, 12))
LATER = "2031-03-05T09:00:00Z"
BY = {"by": "client"}


def story_of_design(element: str = IMP, kind: str = "cast", *, drawn: bool = True) -> Story:
    """A design that the first scene uses, made on the morning of the fourth unless not `drawn`."""
    story = studio(scenes=2, episodes=("KESTREL-1",), route=APPROVING)
    story.tell("element.listed", element, {"kind": kind, "drawings": 4})
    story.tell("element.used", element, {"scenes": [SCENE]})
    if drawn:
        made_by = story.state.elements[element].departments[:-1]
        story.desk(element, *made_by, start=EIGHT, end=NINE)
    return story


def standing(story: Story, element: str = IMP) -> str | None:
    return approval_standing(story.state, element, story.state.elements[element])


def against(story: Story, type_: str, **data: Any) -> list[tuple[Code, str]]:
    reasons = story.refused(type_, data.pop("element", IMP), data, at=LATER)
    return [(reason.code, reason.member) for reason in reasons]


# the usual way


def test_a_design_is_made_asked_about_and_given() -> None:
    story = story_of_design(drawn=False)
    seen = [standing(story)]
    story.desk(IMP, "design", start=EIGHT, end=NINE)
    seen.append(standing(story))
    asking = story.tell("approval.asked", IMP, {"of": "broadcaster"}, at=TEN)
    seen.append(standing(story))
    assert story.state.elements[IMP].asked_of == "broadcaster"
    given = story.tell("approval.given", IMP, {"by": "broadcaster"}, at=ELEVEN)
    seen.append(standing(story))
    assert seen == ["ahead", "to_ask", "asked", "given"]
    assert story.marks(asking) == story.marks(given) == ()
    answer = story.state.elements[IMP].answers[0]
    assert (answer.answer, answer.by, answer.position) == ("given", "broadcaster", given.position)


def test_what_feeds_and_waits_is_the_approval() -> None:
    story = story_of_design()
    # users wait for the making and for the approval, both
    assert [arc.node for arc in successors(story.state, IMP, "design")] == [
        (IMP, "approval"),
        (SCENE, "animation"),
    ]
    assert [arc.node for arc in successors(story.state, IMP, "approval")] == [(SCENE, "animation")]
    assert (IMP, "approval") in {arc.node for arc in predecessors(story.state, SCENE, "animation")}
    assert unapproved(story.state, (SCENE, "animation")) == [IMP]
    assert unapproved(story.state, (SCENE, "paint")) == []


def test_a_later_department_may_wait_for_the_approval() -> None:
    # a prop feeds animation, which may begin with it; paint waits until it is approved
    story = story_of_design(HAT, "prop")
    assert {arc.node for arc in successors(story.state, HAT, "design")} == {
        (HAT, "approval"),
        (SCENE, "animation"),
    }
    assert unapproved(story.state, (SCENE, "animation")) == []
    assert unapproved(story.state, (SCENE, "paint")) == [HAT]


def test_a_kind_without_approval_is_as_it_was() -> None:
    story = story_of_design(FOX, "model-sheet", drawn=False)
    assert story.state.elements[FOX].departments == ("design",)
    assert standing(story, FOX) is None
    assert against(story, "approval.asked", element=FOX) == [(Code.CONTRADICTION, "/subject")]
    plain = studio(scenes=2, episodes=("KESTREL-1",))
    assert "approval" not in plain.state.shows["KESTREL"].routes[0].route.departments


# refusals by the client


def refused(story: Story, at: str = ELEVEN, **more: Any) -> None:
    story.tell("approval.asked", IMP, at=TEN)
    story.tell("approval.refused", IMP, {**BY, "retake": "R-IMP", **more}, at=at)


def test_refused_sends_it_back_to_be_made_and_asked_about_again() -> None:
    story = story_of_design()
    refused(story, share=0.5)
    design, approval = story.take(IMP, "design"), story.take(IMP, "approval")
    assert (design.number, design.phase, design.shares) == (2, Phase.WAITING, (("R-IMP", 5_000),))
    assert (approval.number, approval.phase) == (2, Phase.WAITING)
    retake = story.state.retakes["R-IMP"]
    assert (retake.asked_by, retake.back_to, retake.urgency) == ("client", "design", "must-fix")
    assert story.reached("R-IMP")[0] == (IMP, "design")
    assert set(story.reached("R-IMP")[1:3]) == {(IMP, "approval"), (SCENE, "animation")}
    assert standing(story) == "refused"
    story.desk(IMP, "design", start=ELEVEN, end=NOON)
    assert standing(story) == "to_ask"
    story.tell("approval.asked", IMP, at=LATER)
    story.tell("approval.given", IMP, BY, at=LATER)
    assert standing(story) == "given"
    assert [answer.answer for answer in story.state.elements[IMP].answers] == ["refused", "given"]


def test_unless_stated_otherwise_all_of_it_goes_back_to_the_first_that_makes_it() -> None:
    story = story_of_design(HAT, "prop")
    story.tell("approval.asked", HAT, at=TEN)
    event = story.tell("approval.refused", HAT, BY, at=ELEVEN)
    code = f"refused-{event.position}"
    assert story.state.retakes[code].back_to == "layout"
    assert [story.take(HAT, name).shares for name in ("layout", "design")] == [
        ((code, 10_000),),
        ((code, 10_000),),
    ]
    other = story_of_design(HAT, "prop")
    other.tell("approval.asked", HAT, at=TEN)
    other.tell("approval.refused", HAT, {**BY, "back_to": "design", "retake": "R-HAT"}, at=ELEVEN)
    assert [other.take(HAT, name).number for name in ("layout", "design")] == [1, 2]


def test_what_was_begun_with_a_design_that_is_refused_is_reopened_too() -> None:
    story = story_of_design()
    story.desk(SCENE, "layout", "animation", start=NINE, end=TEN)
    refused(story)
    assert story.take(SCENE, "animation").shares == (("R-IMP", 10_000),)
    assert story.take("KESTREL-1/2", "animation").number == 1


def test_a_refusal_withdrawn_leaves_the_design_to_be_asked_about() -> None:
    story = story_of_design()
    refused(story)
    story.tell("retake.withdrawn", IMP, {"retake": "R-IMP"}, at=NOON)
    assert story.take(IMP, "design").phase is Phase.HANDED_OFF
    assert standing(story) == "to_ask"
    story.tell("approval.asked", IMP, at=LATER)


def test_a_retake_of_the_design_needs_approval_again() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=TEN)
    story.tell("approval.given", IMP, BY, at=TEN)
    story.call("R1", IMP, "design", "character", at=ELEVEN, share=0.25)
    assert story.reached("R1")[0] == (IMP, "design")
    assert (IMP, "approval") in story.reached("R1")
    assert standing(story) == "ahead"
    story.desk(IMP, "design", start=ELEVEN, end=NOON)
    assert standing(story) == "to_ask"


def test_asking_is_over_when_a_retake_takes_the_design_back() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=TEN)
    story.call("R1", IMP, "design", "character", at=ELEVEN, share=0.25)
    take = story.take(IMP, "approval")
    assert (take.number, take.phase) == (2, Phase.WAITING)


# against


def test_it_is_asked_about_once_at_a_time() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=TEN)
    (reason,) = story.refused("approval.asked", IMP, at=LATER)
    assert reason.code is Code.ILLEGAL_MOVE
    assert "asked about already" in reason.detail
    story.tell("approval.given", IMP, BY, at=ELEVEN)
    assert against(story, "approval.asked") == [(Code.ILLEGAL_MOVE, "/subject")]
    assert against(story, "approval.given", **BY) == [(Code.ILLEGAL_MOVE, "/subject")]
    assert against(story, "approval.refused", **BY) == [(Code.ILLEGAL_MOVE, "/subject")]


def test_an_answer_unasked_is_unusual() -> None:
    story = story_of_design()
    given = story.tell("approval.given", IMP, BY, at=TEN)
    assert story.marks(given) == ("not-asked",)
    other = story_of_design()
    event = other.tell("approval.refused", IMP, BY, at=TEN)
    assert other.marks(event) == ("not-asked",)
    assert other.take(IMP, "design").number == 2


def test_approved_before_it_is_made_the_making_is_still_waited_for() -> None:
    story = story_of_design(drawn=False)
    story.desk(SCENE, "layout", start=EIGHT, end=NINE)
    story.tell("approval.given", IMP, BY, at=TEN)
    assert unapproved(story.state, (SCENE, "animation")) == []
    started = story.tell("work.started", SCENE, {"department": "animation"}, at=ELEVEN)
    assert story.marks(started) == ("upstream-missing",)
    assert upstream_missing(story.state, (SCENE, "animation"), parse_instant(ELEVEN))
    story.desk(IMP, "design", start=ELEVEN, end=NOON)
    assert not upstream_missing(story.state, (SCENE, "animation"), parse_instant(LATER))


def test_of_two_answers_in_one_instant_the_one_recorded_later_stands() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, {}, at=TEN)
    story.tell("approval.given", IMP, BY, at=ELEVEN)
    story.tell("approval.refused", IMP, {**BY, "retake": "R1"}, at=ELEVEN)
    assert standing(story) == "refused"
    # once refused it is not refused again before it is asked about
    assert story.codes("approval.refused", IMP, BY, at=ELEVEN) == {Code.ILLEGAL_MOVE}
    story.tell("approval.given", IMP, BY, at=ELEVEN)
    assert standing(story) == "given"
    assert [answer.answer for answer in story.state.elements[IMP].answers] == [
        *("given", "refused", "given"),
    ]


def test_a_reuser_of_a_scene_waits_for_the_approval_of_what_it_takes_over() -> None:
    route = {**APPROVING, "kinds": [dict(kind) for kind in APPROVING["kinds"]]}
    background = next(kind for kind in route["kinds"] if kind["kind"] == "background")
    background["approval"] = {"before": "camera", "days": 2}
    story = studio(scenes=2, episodes=("KESTREL-1",), route=route)
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": [SCENE]})
    same = {"source": SCENE, "joins": "camera", "strands": ["background"]}
    story.tell("same-as.declared", "KESTREL-1/2", same)
    waits_for = {arc.node for arc in predecessors(story.state, "KESTREL-1/2", "camera")}
    assert {("KESTREL:hall", "background"), ("KESTREL:hall", "approval")} <= waits_for


def test_asking_before_it_is_made_is_unusual() -> None:
    story = story_of_design(drawn=False)
    asking = story.tell("approval.asked", IMP, at=TEN)
    assert story.marks(asking) == ("upstream-missing",)


def test_it_is_not_refused_twice_nor_before_anything_is_done() -> None:
    story = story_of_design()
    refused(story)
    assert against(story, "approval.refused", **BY) == [(Code.ILLEGAL_MOVE, "/subject")]
    other = story_of_design(drawn=False)
    assert against(other, "approval.refused", **BY) == [(Code.CONTRADICTION, "/subject")]


def test_a_refusal_names_a_department_that_makes_it_and_a_new_retake() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=TEN)
    assert against(story, "approval.refused", back_to="animation", **BY) == [
        (Code.NOT_ON_ROUTE, "/data/back_to")
    ]
    story.call("R1", SCENE.replace("/1", ""), "storyboard", "character", at=TEN)
    assert against(story, "approval.refused", retake="R1", **BY) == [(Code.EXISTS, "/data/retake")]


def test_only_a_known_element_is_asked_about() -> None:
    assert against(story_of_design(), "approval.asked", element="KESTREL:owl") == [
        (Code.UNKNOWN, "/subject")
    ]


def test_an_answer_is_not_dated_before_the_asking() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=NOON)
    reasons = story.refused("approval.given", IMP, BY, at=TEN)
    assert [(reason.code, reason.member) for reason in reasons] == [(Code.TIME_ORDER, "/time")]


@pytest.mark.parametrize(
    "type_", ["hand-out.made", "work.started", "hand-off.made", "visit.put-first"]
)
def test_no_desk_answers_for_it(type_: str) -> None:
    data = {"department": "approval", "artist": "a1"}
    assert against(story_of_design(), type_, **data) == [(Code.CONTRADICTION, "/data/department")]


def test_whoever_answers_refuses_no_hand_off_and_has_no_crew() -> None:
    story = story_of_design()
    data = {"sender": "design", "department": "approval"}
    assert against(story, "hand-off.refused", **data) == [(Code.NOT_ON_ROUTE, "/data/department")]
    crew: dict[str, Any] = {"artists": 1, "units_per_artist_day": 1, "minutes_per_artist_day": 480}
    crew_of_approval = {"department": "approval", "from_on": "2031-03-01"} | crew
    assert story.codes("crew.set", "studio", crew_of_approval) == {Code.UNKNOWN}


def test_a_route_names_where_the_approval_holds_and_no_department_so() -> None:
    story = studio(scenes=1)

    def pointers(**more: Any) -> set[str]:
        reasons = story.refused("route.laid", "KESTREL", {**APPROVING, **more})
        return {reason.member for reason in reasons}

    kinds = [{**APPROVING["kinds"][-1], "approval": {"before": "mix", "days": 2}}]
    assert pointers(kinds=kinds) == {"/data/kinds/0/approval/before"}
    named = {"department": "approval", "grain": "element", "unit": "drawings"}
    departments = [*ROUTE["departments"], named]
    assert pointers(departments=departments) == {"/data/departments/9/department"}


# what comes before the approval


def test_a_hand_off_is_looked_at_though_its_start_is_not_the_last_fact() -> None:
    story = story_of_design()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    data = {"department": "animation"}
    story.tell("work.started", SCENE, data, at=TEN)
    story.tell("hand-out.made", SCENE, {**data, "artist": "a1"}, at=ELEVEN)
    off = story.tell("hand-off.made", SCENE, data, at=NOON)
    assert story.marks(off) == ("before-approval",)


def test_a_hand_off_before_the_approval_is_irregular() -> None:
    story = story_of_design()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    started = story.tell("work.started", SCENE, {"department": "animation"}, at=TEN)
    off = story.tell("hand-off.made", SCENE, {"department": "animation"}, at=ELEVEN)
    assert story.marks(started) == ("upstream-missing",)
    assert story.marks(off) == ("before-approval",)
    story.tell("approval.asked", IMP, at=ELEVEN)
    story.tell("approval.given", IMP, BY, at=NOON)
    paint = story.tell("work.started", SCENE, {"department": "paint"}, at=NOON)
    assert story.marks(paint) == ()


def test_a_hand_off_after_it_is_not_though_the_work_began_before() -> None:
    story = story_of_design()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    story.tell("work.started", SCENE, {"department": "animation"}, at=TEN)
    story.tell("approval.given", IMP, BY, at=ELEVEN)
    off = story.tell("hand-off.made", SCENE, {"department": "animation"}, at=NOON)
    assert story.marks(off) == ()


def test_a_strike_of_the_approval_undoes_it() -> None:
    story = story_of_design()
    story.tell("approval.asked", IMP, at=TEN)
    given = story.tell("approval.given", IMP, BY, at=ELEVEN)
    strike = {"position": given.position, "why": "Another design."}
    story.tell("event.struck", "studio", strike, at=NOON)
    assert standing(story) == "asked"
    assert story.state.elements[IMP].answers == ()
