"""Kinds of value: from checked JSON to what the core works with."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.desks import DepartmentStopped, HandOffRefused
from service.vocabulary.facts.office import CalendarSet, CrewSet, SceneListed, SceneRetimed
from service.vocabulary.facts.orders import ChangeOrderApproved, GateMove
from service.vocabulary.facts.retakes import Dependent, RetakeCalled
from service.vocabulary.facts.routes import RouteLaid
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import json_members, members, reviver
from service.web.schemas.examples import example_events


@pytest.mark.parametrize(
    ("kind", "value", "revived"),
    [
        (kinds.Whole(0, 9), 3.0, 3),
        (kinds.Quantity(0, 100_000), 0.25, 2_500),
        (kinds.Day(), "2031-03-04", date(2031, 3, 4)),
        (kinds.Moment(), "1970-01-01T00:01:00Z", 60_000_000),
        (kinds.ClockTime(), "09:30", 570),
        (kinds.Listing(kinds.Day()), ["2031-03-04"], (date(2031, 3, 4),)),
        (kinds.Table(kinds.Quantity(0, 100_000)), {"b": 2, "a": 1}, (("a", 10_000), ("b", 20_000))),
        (kinds.Flag(), True, True),
    ],
)
def test_each_kind_gives_the_core_its_value(kind: kinds.Kind, value: Any, revived: Any) -> None:
    got = kind.revive(value)
    assert got == revived
    assert type(got) is type(revived)


def test_a_group_is_its_dataclass() -> None:
    fact = reviver(RetakeCalled)(
        {
            "retake": "R1",
            "kind": "retake",
            "urgency": "must-fix",
            "back_to": "animation",
            "strands": ["character"],
            "share": 0.25,
            "dependents": [{"scene": "KESTREL-1/2", "mark": "leave"}],
        }
    )
    assert fact.share_e4 == 2_500
    assert fact.dependents == (Dependent("KESTREL-1/2", "leave"),)
    assert fact.items == ()


def test_units_are_in_the_attribute_and_not_in_the_json_name() -> None:
    names = {member.attribute: member.name for member in members(CrewSet)}
    assert names["units_per_artist_day_e4"] == "units_per_artist_day"
    assert {m.attribute: m.name for m in members(DepartmentStopped)}[
        "expected_end_at_us"
    ] == "expected_end_at"


def test_personal_text_never_reaches_the_core() -> None:
    fact = reviver(HandOffRefused)(
        {"department": "paint", "sender": "animation", "why": "told in confidence"}
    )
    assert fact.why is None
    assert fact.share_e4 == 10_000


def test_what_is_left_out_takes_its_default() -> None:
    fact = reviver(SceneListed)({"frames": 80})
    assert (fact.drawings, fact.levels, fact.difficulty, fact.work) == (0, 1, (), ())


def test_members_of_a_later_release_are_passed_over() -> None:
    assert reviver(SceneListed)({"frames": 80, "from_a_later_release": 1}).frames == 80


def test_required_members_are_those_without_a_default() -> None:
    assert {m.name for m in members(CalendarSet) if m.required} == {"from_on", "shifts"}


def test_nested_facts_are_values() -> None:
    data = {
        "departments": [{"department": "camera", "grain": "scene", "unit": "scenes"}],
        "gates": [{"gate": "delivery", "department": "camera"}],
    }
    assert reviver(RouteLaid)(data) == reviver(RouteLaid)(data)


def test_a_moment_is_held_in_microseconds() -> None:
    fact = reviver(DepartmentStopped)(
        {"department": "paint", "expected_end_at": "2031-03-04T12:00:00Z"}
    )
    assert fact.expected_end_at_us == parse_instant("2031-03-04T12:00:00Z")


def test_a_dataclass_is_taken_apart_once() -> None:
    @dataclass(frozen=True)
    class Small:
        length_min: int = kinds.says(kinds.ClockTime(), "A length.")

    assert reviver(Small) is reviver(Small)
    assert reviver(Small)({"length": "00:10"}) == Small(10)


@pytest.mark.parametrize("type_", CATALOGUE)
def test_the_members_of_a_fact_revive_to_it(type_: str) -> None:
    for event in example_events(type_):
        fact = reviver(CATALOGUE[type_])(event["data"])
        assert reviver(CATALOGUE[type_])(json_members(fact)) == fact


def test_members_at_their_defaults_are_left_out() -> None:
    assert json_members(SceneRetimed(frames=96)) == {"frames": 96}
    move = GateMove("KESTREL-1", "delivery", date(2031, 5, 5))
    assert json_members(ChangeOrderApproved("CO-1", gates=(move,))) == {
        "order": "CO-1",
        "gates": [{"episode": "KESTREL-1", "gate": "delivery", "due_on": "2031-05-05"}],
    }
