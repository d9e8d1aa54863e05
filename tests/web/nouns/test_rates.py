"""Rate cards, and what desks may not see of money."""

import json
from typing import Any

import pytest

from tests.telling import ROUTE

from ..paper import Paper

CARD: dict[str, Any] = {
    "currency": "EUR",
    "from_on": "2031-01-01",
    "rates": {"layout": "40", "animation": "12.50"},
    "credit": 0.8,
}
MAY = ("office", "supervisor", "producer", "auditor")


@pytest.fixture
def priced(opened: Paper) -> Paper:
    """Two cards: one valid since January, one from June."""
    opened.tell("rate.set", "KESTREL", CARD, who="office")
    later = {"from_on": "2031-06-01", "rates": {"layout": "41.25"}}
    opened.tell("rate.set", "KESTREL", CARD | later, who="producer")
    return opened


@pytest.mark.parametrize("who", MAY)
def test_the_cards_and_which_is_valid(priced: Paper, who: str) -> None:
    shown = priced.get("/shows/KESTREL/rates", who)
    assert (shown["currency"], shown["on"]) == ("EUR", "2031-03-03")
    assert shown["valid_from_on"] == "2031-01-01"
    first, second = shown["cards"]
    assert (first["valid"], second["valid"]) == (True, False)
    assert first["rates"] == [
        {"department": "animation", "unit": "feet", "rate": "12.50"},
        {"department": "layout", "unit": "scenes", "rate": "40"},
    ]
    assert (first["credit"], second["rates"][0]["rate"]) == (0.8, "41.25")


def test_another_card_is_valid_from_its_date_in_the_studios_zone(priced: Paper) -> None:
    # Lisbon is an hour ahead of UTC in summer: 23:30 on the last of May is the first of June there
    priced.move_clock("2031-05-31T22:30:00Z")
    assert priced.get("/shows/KESTREL/rates")["valid_from_on"] == "2031-01-01"
    priced.move_clock("2031-05-31T23:30:00Z")
    assert priced.get("/shows/KESTREL/rates")["valid_from_on"] == "2031-06-01"


def test_a_show_without_a_card_and_none(opened: Paper) -> None:
    shown = opened.get("/shows/KESTREL/rates")
    assert (shown["currency"], shown["valid_from_on"], shown["cards"]) == (None, None, [])
    assert opened.refused("/shows/ASTER/rates") == (404, "not-found", [])


@pytest.mark.parametrize("who", ["layout", "camera"])
def test_a_desk_reads_no_rates(priced: Paper, who: str) -> None:
    assert priced.refused("/shows/KESTREL/rates", who) == (403, "insufficient-scope", [])


@pytest.mark.parametrize("who", [*MAY, "layout", "camera"])
def test_events_of_rates_reach_a_desk_as_envelopes(priced: Paper, who: str) -> None:
    """One by one, in the list, and in a replay's list."""
    (last,) = priced.ask("/events?type=rate.set&limit=1", who).get_json()
    one = priced.ask(f"/events/{last['position']}", who).get_json()
    assert one == last
    assert (last["type"], last["subject"], last["poster"]) == ("rate.set", "KESTREL", "office")
    if who in MAY:
        assert last["data"] == CARD
        assert "withheld" not in last
    else:
        assert (last["data"], last["withheld"]) == ({}, True)
    whole = b"".join(
        priced.ask(path, who).data
        for path in ("/events?limit=1000", "/episodes/KESTREL-1/replay/events?limit=1000")
    )
    assert (b"41.25" in whole) == (who in MAY)


def test_other_events_reach_a_desk_whole(priced: Paper) -> None:
    mine, theirs = (
        priced.ask("/events?limit=1000", who).get_json() for who in ("layout", "office")
    )
    assert [event for event in mine if not event.get("withheld")] == [
        event for event in theirs if event["type"] != "rate.set"
    ]


def test_nobody_may_claim_that_something_is_withheld(opened: Paper) -> None:
    event = opened.event("rate.set", "KESTREL", CARD) | {"withheld": True, "posterrole": "office"}
    answer = opened.post("/events", event, "office")
    assert {error["code"] for error in answer.get_json()["errors"]} == {"set-by-the-log"}


def test_a_card_for_a_department_of_that_name_has_no_personal_text(opened: Paper) -> None:
    """The commitment to personal text is a member of the event, not of its data."""
    route = json.loads(json.dumps(ROUTE).replace('"storyboard"', '"personal"'))
    opened.tell("show.opened", "ASTER", {"title": "Aster"}, who="office")
    opened.tell("route.laid", "ASTER", route, who="office")
    opened.tell("rate.set", "ASTER", CARD | {"rates": {"personal": "12.00"}}, who="office")
    for who in MAY:
        (event,) = opened.ask("/events?type=rate.set&subject=ASTER", who).get_json()
        assert event["data"]["rates"] == {"personal": "12.00"}
        assert "forgotten" not in event


def test_an_event_tells_the_role_that_recorded_it(priced: Paper) -> None:
    first, second = priced.ask("/events?type=rate.set").get_json()
    assert (first["posterrole"], second["posterrole"]) == ("office", "producer")
