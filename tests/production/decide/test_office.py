"""What the office may record, and what is refused of it."""

from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.production.decide import Accepted
from service.production.folding import fold
from service.production.refusal import Code
from service.production.takes import Phase
from service.vocabulary.footage import Rate
from tests.production.test_graph import in_a_circle
from tests.telling import ROUTE, Story, studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
HOURS = {"days": ["monday"], "opens": "09:00", "closes": "17:00"}


def changed(**more: Any) -> dict[str, Any]:
    return {**ROUTE, **more}


def opened() -> Story:
    story = Story()
    story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
    return story


def test_a_show_opens_once() -> None:
    assert opened().codes("show.opened", "KESTREL", {"title": "Again"}) == {Code.EXISTS}


def test_time_code_numbers_as_many_frames_as_the_rate_has() -> None:
    data = {"title": "Merlin", "timecode": "29.97-drop"}
    reasons = opened().refused("show.opened", "MERLIN", data)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/data/timecode")
    ]
    story = opened()
    story.tell("show.opened", "MERLIN", data | {"frames_per_second": 30})
    assert story.state.shows["MERLIN"].rate.dropped == 2
    assert story.state.shows["KESTREL"].rate == Rate(24)


def test_a_route_needs_its_show() -> None:
    assert Story().codes("route.laid", "KESTREL", ROUTE) == {Code.UNKNOWN}


def test_the_faults_of_a_route_are_named_with_pointers() -> None:
    gates = [{"gate": "air", "department": "nowhere"}]
    reasons = opened().refused("route.laid", "KESTREL", changed(gates=gates))
    assert {reason.member for reason in reasons} == {"/data/gates/0/department", "/data/gates"}


def test_a_department_counts_in_one_unit() -> None:
    departments = [{**ROUTE["departments"][0], "unit": "scenes"}, *ROUTE["departments"][1:]]
    reasons = studio().refused("route.laid", "KESTREL", changed(departments=departments))
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/data/departments/0/unit")
    ]


# calendars and crews


def calendar(**more: Any) -> dict[str, Any]:
    return {"from_on": "2031-01-01", "shifts": [HOURS], **more}


def test_the_studios_first_calendar_names_its_zone() -> None:
    assert Story().codes("calendar.set", "studio", calendar()) == {Code.CONTRADICTION}
    assert Story().codes("calendar.set", "studio", calendar(zone="Nowhere/Else")) == {Code.UNKNOWN}


def test_the_zone_never_changes() -> None:
    story = studio()
    assert story.codes("calendar.set", "studio", calendar(zone="Asia/Tokyo")) == {
        Code.CONTRADICTION
    }
    story.tell("calendar.set", "studio", calendar(zone="Europe/Lisbon"))


def test_a_departments_calendar_comes_after_the_studios_and_has_its_zone() -> None:
    story = opened()
    story.tell("route.laid", "KESTREL", ROUTE)
    assert story.codes("calendar.set", "studio", calendar(department="paint")) == {
        Code.CONTRADICTION
    }
    reasons = studio().refused(
        "calendar.set", "studio", calendar(department="nowhere", zone="Europe/Lisbon")
    )
    assert {reason.member for reason in reasons} == {"/data/department", "/data/zone"}
    other = studio()
    other.tell("calendar.set", "studio", calendar(department="paint"))
    assert other.state.calendars["paint"].zone == "Europe/Lisbon"


def crew(**more: Any) -> dict[str, Any]:
    usual = {
        "department": "paint",
        "artists": 2,
        "units_per_artist_day": 20,
        "minutes_per_artist_day": 480,
        "from_on": "2031-01-01",
    }
    return {**usual, **more}


def test_a_crew_is_of_a_known_department_by_the_studios_dates() -> None:
    reasons = Story().refused("crew.set", "studio", crew())
    assert {reason.code for reason in reasons} == {Code.UNKNOWN, Code.CONTRADICTION}
    studio().tell("crew.set", "studio", crew())


# episodes and scenes


def test_an_episode_opens_once_on_a_route() -> None:
    title = {"title": "Number 1"}
    assert Story().codes("episode.opened", "KESTREL-1", title) == {Code.UNKNOWN}
    assert opened().codes("episode.opened", "KESTREL-1", title) == {Code.CONTRADICTION}
    assert studio().codes("episode.opened", "KESTREL-1", title) == {Code.EXISTS}


def test_tables_name_departments_of_the_route() -> None:
    work = {"work": {"camera": 1, "nowhere": 2}, "difficulty": {"mix": 2, "elsewhere": 1}}
    reasons = studio().refused("episode.opened", "KESTREL-3", {"title": "Number 3", **work})
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.NOT_ON_ROUTE, "/data/difficulty/elsewhere"),
        (Code.NOT_ON_ROUTE, "/data/work/camera"),
        (Code.NOT_ON_ROUTE, "/data/work/nowhere"),
    ]
    reasons = studio().refused("scene.listed", "KESTREL-1/9", {"frames": 80, **work})
    assert [reason.member for reason in reasons] == [
        "/data/difficulty/elsewhere",
        "/data/difficulty/mix",
        "/data/work/nowhere",
    ]


def test_a_scene_number_is_never_reused() -> None:
    story = studio()
    assert story.codes("scene.listed", "KESTREL-1/1", {"frames": 80}) == {Code.EXISTS}
    story.tell("scene.omitted", "KESTREL-1/1", at=NINE)
    assert story.codes("scene.listed", "KESTREL-1/1", {"frames": 80}) == {Code.EXISTS}


def test_a_scene_needs_its_episode_and_that_it_is_not_delivered() -> None:
    story = studio()
    assert story.codes("scene.listed", "KESTREL-9/1", {"frames": 80}) == {Code.UNKNOWN}
    story.tell("episode.delivered", "KESTREL-1", at=NINE)
    assert story.codes("scene.listed", "KESTREL-1/9", {"frames": 80}) == {Code.CONTRADICTION}


@pytest.mark.parametrize(
    ("type_", "data"),
    [
        ("scene.retimed", {"frames": 80}),
        ("scene.omitted", {}),
        ("scene.restored", {}),
        ("hook-up.declared", {"to": "KESTREL-1/1"}),
        ("same-as.declared", {"source": "KESTREL-1/1", "joins": "camera", "strands": ["sound"]}),
        ("scene.held", {"owes": "client", "by_on": "2031-03-10"}),
        ("scene.freed", {}),
        ("scene.bought", {}),
    ],
)
def test_a_fact_about_an_unknown_scene_is_refused(type_: str, data: dict[str, Any]) -> None:
    assert studio().codes(type_, "KESTREL-1/99", data) == {Code.UNKNOWN}


def test_a_gate_is_of_a_known_episode() -> None:
    gate = {"gate": "delivery", "due_on": "2031-05-01"}
    assert studio().codes("gate.set", "KESTREL-9", gate) == {Code.UNKNOWN}


def test_a_scene_is_omitted_once_and_only_then_restored() -> None:
    story = studio()
    assert story.codes("scene.restored", "KESTREL-1/1") == {Code.CONTRADICTION}
    story.tell("scene.omitted", "KESTREL-1/1", at=TEN)
    assert story.codes("scene.omitted", "KESTREL-1/1", at=ELEVEN) == {Code.CONTRADICTION}
    assert story.codes("scene.restored", "KESTREL-1/1", at=NINE) == {Code.TIME_ORDER}
    story.tell("scene.restored", "KESTREL-1/1", at=ELEVEN)
    assert story.codes("scene.omitted", "KESTREL-1/1", at=TEN) == {Code.TIME_ORDER}
    story.tell("scene.omitted", "KESTREL-1/1", at=ELEVEN)


def test_a_scene_was_not_omitted_before_desks_worked_on_it() -> None:
    story = studio()
    story.desk("KESTREL-1/1", "layout", start=TEN, end=ELEVEN)
    reasons = story.refused("scene.omitted", "KESTREL-1/1", at=NINE)
    assert [(reason.code, reason.member) for reason in reasons] == [(Code.TIME_ORDER, "/time")]
    assert "layout" in reasons[0].detail
    story.tell("scene.omitted", "KESTREL-1/1", at=ELEVEN)
    assert story.take("KESTREL-1/1", "layout").phase is Phase.HANDED_OFF


# elements


def test_an_element_is_listed_once_of_a_kind_the_route_has() -> None:
    story = studio()
    reasons = story.refused("element.listed", "KESTREL:hall", {"kind": "statue"})
    assert [(reason.code, reason.member) for reason in reasons] == [(Code.UNKNOWN, "/data/kind")]
    assert "background, model-sheet" in reasons[0].detail
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    assert story.codes("element.listed", "KESTREL:hall", {"kind": "background"}) == {Code.EXISTS}
    wrong = {"kind": "background", "work": {"design": 1}}
    assert story.codes("element.listed", "KESTREL:wall", wrong) == {Code.NOT_ON_ROUTE}
    assert story.codes("element.listed", "OTHER:hall", {"kind": "background"}) == {Code.UNKNOWN}


def with_hall() -> Story:
    story = studio()
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    return story


def test_an_element_is_used_by_known_scenes_of_its_show_once() -> None:
    story = with_hall()
    assert story.codes("element.used", "KESTREL:wall", {"scenes": ["KESTREL-1/1"]}) == {
        Code.UNKNOWN
    }
    scenes = ["KESTREL-1/1", "KESTREL-1/99", "KESTREL-1/1"]
    reasons = story.refused("element.used", "KESTREL:hall", {"scenes": scenes})
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.UNKNOWN, "/data/scenes/1"),
        (Code.EXISTS, "/data/scenes/2"),
    ]
    story.tell("element.used", "KESTREL:hall", {"scenes": ["KESTREL-1/1"]})
    assert story.codes("element.used", "KESTREL:hall", {"scenes": ["KESTREL-1/1"]}) == {Code.EXISTS}


def test_an_element_of_another_show_is_refused() -> None:
    story = with_hall()
    story.tell("show.opened", "OTHER", {"title": "Other"})
    story.tell("route.laid", "OTHER", ROUTE)
    story.tell("episode.opened", "OTHER-1", {"title": "Number 1"})
    story.tell("scene.listed", "OTHER-1/1", {"frames": 80})
    assert story.codes("element.used", "KESTREL:hall", {"scenes": ["OTHER-1/1"]}) == {
        Code.CONTRADICTION
    }


def test_an_element_cannot_replace_what_has_begun() -> None:
    story = with_hall()
    story.desk("KESTREL-1/1", "background", start=NINE)
    reasons = story.refused("element.used", "KESTREL:hall", {"scenes": ["KESTREL-1/1"]})
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/data/scenes/0")
    ]


# routes from a date


def with_ink() -> dict[str, Any]:
    ink = {
        "department": "ink",
        "grain": "scene",
        "unit": "drawings",
        "follows": [{"department": "animation", "strands": ["character"]}],
    }
    return changed(departments=[*ROUTE["departments"], ink])


def visits_ink(story: Story, scene: str, at: str) -> bool:
    story.tell("scene.listed", scene, {"frames": 80}, at=at)
    return "ink" in story.state.scenes[scene].departments


def test_a_route_from_a_date_is_for_items_listed_from_then_on() -> None:
    story = studio(scenes=1)
    story.tell("route.laid", "KESTREL", {**with_ink(), "from_on": "2031-03-10"}, at=NINE)
    assert not visits_ink(story, "KESTREL-1/7", "2031-03-09T23:59:00Z")
    assert visits_ink(story, "KESTREL-1/8", "2031-03-10T00:00:00Z")
    assert "ink" not in story.state.scenes["KESTREL-1/1"].departments, "it keeps its route"


def test_a_route_without_a_date_is_in_force_at_once() -> None:
    story = studio(scenes=1)
    story.tell("route.laid", "KESTREL", with_ink(), at=NINE)
    assert visits_ink(story, "KESTREL-1/8", NINE)


def test_a_route_laid_at_once_does_not_undo_one_agreed_for_later() -> None:
    story = studio(scenes=1)
    story.tell("route.laid", "KESTREL", {**with_ink(), "from_on": "2031-03-10"}, at=NINE)
    story.tell("route.laid", "KESTREL", ROUTE, at=TEN)
    assert not visits_ink(story, "KESTREL-1/7", "2031-03-09T12:00:00Z")
    assert visits_ink(story, "KESTREL-1/8", "2031-03-10T12:00:00Z")


def test_of_two_routes_from_one_date_the_one_laid_last_is_in_force() -> None:
    story = studio(scenes=1)
    for route in (with_ink(), ROUTE):
        story.tell("route.laid", "KESTREL", {**route, "from_on": "2031-03-10"}, at=NINE)
    assert not visits_ink(story, "KESTREL-1/8", "2031-03-11T12:00:00Z")


def test_the_date_is_the_studios() -> None:
    story = opened()
    story.tell("route.laid", "KESTREL", ROUTE)
    story.tell("calendar.set", "studio", calendar(zone="Asia/Tokyo"))
    story.tell("episode.opened", "KESTREL-1", {"title": "Number 1"})
    story.tell("route.laid", "KESTREL", {**with_ink(), "from_on": "2031-03-10"}, at=NINE)
    # midnight in Tokyo is 15:00 UTC of the day before
    assert not visits_ink(story, "KESTREL-1/7", "2031-03-09T14:59:00Z")
    assert visits_ink(story, "KESTREL-1/8", "2031-03-09T15:00:00Z")


def test_no_route_is_in_force_before_its_date() -> None:
    story = opened()
    story.tell("route.laid", "KESTREL", {**ROUTE, "from_on": "2031-03-10"})
    title = {"title": "Number 1"}
    assert story.codes("episode.opened", "KESTREL-1", title, NINE) == {Code.CONTRADICTION}
    story.tell("episode.opened", "KESTREL-1", title, at="2031-03-10T09:00:00Z")


def test_gates_are_set_again() -> None:
    story = studio()
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": "2031-06-01"})
    gate = story.state.episodes["KESTREL-1"].gate("delivery")
    assert gate is not None
    assert (gate.due_on, gate.hard) == (date(2031, 6, 1), False)


# routes that have departments in another order


def line_of(*names: str) -> dict[str, Any]:
    """A route of departments one behind the other; names in capitals are of episode grain."""
    departments = [
        {
            "department": name.lower(),
            "grain": "episode" if name.isupper() else "scene",
            "unit": "episodes" if name.isupper() else "scenes",
            "follows": [{"department": before.lower(), "strands": ["character"]}] if before else [],
        }
        for before, name in pairwise(("", *names))
    ]
    gates = [{"gate": "delivery", "department": names[-1].lower()}]
    return {"departments": departments, "gates": gates}


FIRST = ("layout", "BOARD", "paint", "LOCK", "camera", "MIX")


def relaid(*names: str) -> Story:
    """An episode with a scene, and another route laid since."""
    story = opened()
    story.tell("route.laid", "KESTREL", line_of(*FIRST))
    story.tell("episode.opened", "KESTREL-1", {"title": "Number 1"})
    story.tell("scene.listed", "KESTREL-1/1", {"frames": 24})
    story.tell("route.laid", "KESTREL", line_of(*names))
    return story


def test_a_scene_is_not_listed_where_two_routes_have_an_episode_wait_for_itself() -> None:
    story = relaid("layout", "LOCK", "paint", "BOARD", "camera", "MIX")
    (reason,) = story.refused("scene.listed", "KESTREL-1/2", {"frames": 24})
    assert (reason.code, reason.member) == (Code.CIRCLE, "/subject")
    assert "board, lock, paint" in reason.detail
    # an episode opened since takes the new route alone
    story.tell("episode.opened", "KESTREL-2", {"title": "Number 2"})
    story.tell("scene.listed", "KESTREL-2/1", {"frames": 24})


@pytest.mark.parametrize(
    "names",
    [
        # scenes are passed on one by one: theirs may be in any order
        ("paint", "BOARD", "layout", "LOCK", "camera", "MIX"),
        ("BOARD", "layout", "paint", "camera", "LOCK", "MIX"),
        # the episode that is open makes no visit there
        ("layout", "CHECK", "BOARD", "paint", "LOCK", "camera", "MIX"),
        ("layout", "paint", "camera", "MIX"),
    ],
)
def test_scenes_of_one_episode_may_take_routes_that_go_together(names: tuple[str, ...]) -> None:
    story = relaid(*names)
    story.tell("scene.listed", "KESTREL-1/2", {"frames": 24})
    assert not in_a_circle(story.state)


@given(st.permutations(FIRST), st.permutations(FIRST))
def test_a_listing_is_refused_exactly_where_visits_would_wait_in_a_circle(
    then: list[str], last: list[str]
) -> None:
    story = relaid(*then)
    for number, names in enumerate((then, last), 2):
        story.tell("route.laid", "KESTREL", line_of(*names))
        event = story.event("scene.listed", f"KESTREL-1/{number}", {"frames": 24})
        decided = story.propose(event)
        assert isinstance(decided, Accepted) != in_a_circle(fold(story.state, [event]))
        if not isinstance(decided, Accepted):
            assert {reason.code for reason in decided.reasons} == {Code.CIRCLE}
            return
        story.record(event)
