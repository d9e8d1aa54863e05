"""Dates in new facts lie within some years of the studio's clock."""

from datetime import date
from typing import Any

import pytest
from msgspec.structs import replace

from service.production.decide import decide
from service.production.decide.bounds import NAMED_MAX, dates_against
from service.production.refusal import Code, Refusal
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import Day, Group, Kind, Listing, Moment, Table, members
from tests.telling import OFFICE, Story, studio

FAR, LONG_PAST = "2061-03-05", "2001-03-03"
"""One day beyond either bound when the clock of a story stands at 2031-03-04."""
NINE = "2031-03-04T09:00:00Z"
DATED: list[tuple[str, str, dict[str, Any], str]] = [
    ("gate.set", "KESTREL-1", {"gate": "air", "due_on": FAR}, "due_on"),
    ("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": FAR}, "by_on"),
    ("calendar.set", "studio", {"from_on": FAR, "shifts": []}, "from_on"),
    (
        "calendar.set",
        "studio",
        {"from_on": "2031-03-04", "shifts": [], "days_off": ["2031-04-01", FAR, "2031-05-01"]},
        "days_off/1",
    ),
    (
        "department.stopped",
        "studio",
        {"department": "paint", "expected_end_at": f"{FAR}T00:00:00Z"},
        "expected_end_at",
    ),
    (
        "change-order.approved",
        "KESTREL-1",
        {"order": "CO-1", "gates": [{"episode": "KESTREL-1", "gate": "air", "due_on": FAR}]},
        "gates/0/due_on",
    ),
]


@pytest.fixture
def story() -> Story:
    made = studio()
    made.now = NINE
    return made


@pytest.mark.parametrize(("type_", "subject", "data", "member"), DATED)
@pytest.mark.parametrize("day", [FAR, LONG_PAST])
def test_a_far_date_is_refused_by_its_member(
    story: Story, type_: str, subject: str, data: dict[str, Any], member: str, day: str
) -> None:
    far_data = _with(data, day)
    found = [
        reason
        for reason in story.refused(type_, subject, far_data)
        if reason.code is Code.CONTRADICTION and reason.member == f"/data/{member}"
    ]
    assert (
        f"{day} lies more than 30 years from the studio's clock; write a date from 2001-03-04 to "
        "2061-03-04"
    ) in [reason.detail for reason in found]
    assert not list(dates_against(story.event(type_, subject, _with(data, "2061-03-04"))))
    assert not list(dates_against(story.event(type_, subject, _with(data, "2001-03-04"))))


def _with(data: Any, day: str) -> Any:
    if isinstance(data, dict):
        return {name: _with(value, day) for name, value in data.items()}
    if isinstance(data, list):
        return [_with(value, day) for value in data]
    return data.replace(FAR, day) if isinstance(data, str) else data


def test_the_clock_counts_and_not_when_it_happened(story: Story) -> None:
    data = {"gate": "air", "due_on": "2061-03-04"}
    assert not list(
        dates_against(story.event("gate.set", "KESTREL-1", data, "2031-03-03T09:00:00Z"))
    )


def test_a_question_is_held_to_the_bound(story: Story) -> None:
    event = story.event("gate.set", "KESTREL-1", {"gate": "air", "due_on": FAR})
    decided = decide(story.state, [event], None)
    assert isinstance(decided, Refusal)
    assert [reason.member for reason in decided.reasons] == ["/data/due_on"]


@pytest.mark.parametrize(
    ("now", "first", "last"),
    [
        ("2032-02-29T12:00:00Z", "2002-02-28", "2062-02-28"),
        ("9990-01-01T00:00:00Z", "9960-01-01", "9999-01-01"),
    ],
)
def test_a_bound_is_a_date_of_the_calendar(story: Story, now: str, first: str, last: str) -> None:
    event = story.event("gate.set", "KESTREL-1", {"gate": "air", "due_on": "1900-01-01"})
    event = replace(event, recorded_us=parse_instant(now))
    (reason,) = dates_against(event)
    assert reason.detail.endswith(f"write a date from {first} to {last}")


def test_a_long_list_of_far_dates_is_refused_briefly(story: Story) -> None:
    days = [date(2100 + n // 28, 1, n % 28 + 1).isoformat() for n in range(1000)]
    data = {"from_on": "2031-03-04", "shifts": [], "days_off": days}
    assert len(story.refused("calendar.set", "studio", data, actor=OFFICE)) == NAMED_MAX


def test_every_kind_of_fact_with_dates_is_tried_above() -> None:
    dated = {
        type_ for type_, fact in CATALOGUE.items() if any(_dated(m.kind) for m in members(fact))
    }
    tried = {type_ for type_, *_ in DATED}
    # these have a single date by the same kind as those above
    assert dated - tried == {"rate.set", "route.laid", "crew.set", "change-order.priced"}


def _dated(kind: Kind) -> bool:
    if isinstance(kind, Listing | Table):
        return _dated(kind.of)
    if isinstance(kind, Group):
        return any(_dated(member.kind) for member in members(kind.of))
    return isinstance(kind, Day | Moment)
