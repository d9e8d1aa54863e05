"""A question may hold facts of any roles together; money and people's words stay hidden."""

from typing import Any

import pytest

from service.vocabulary.facts.base import SEES_MONEY
from service.web.nouns.what_if.routes import ASKING
from service.web.schemas.events import split_personal

from ..lantern import ROLES, Lantern, is_the_owners
from ..paper import Paper
from .test_impacts import CALL

WEEKDAYS = ["monday", "tuesday", "wednesday", "thursday", "friday"]
PAINTERS = {
    "department": "paint",
    "artists": 1,
    "units_per_artist_day": 40,
    "minutes_per_artist_day": 480,
    "from_on": "2031-03-04",
}


@pytest.mark.parametrize("who", ["office", "supervisor", "producer"])
def test_one_question_holds_facts_of_every_role(short: Paper, who: str) -> None:
    # recorded, the call is supervision's, hours and crews are the office's
    call = short.event("retake.called", "KESTREL-1/1", CALL)
    week = {"days": [*WEEKDAYS, "saturday"], "opens": "09:00", "closes": "17:00"}
    hours = short.event("calendar.set", "studio", {"from_on": "2031-03-03", "shifts": [week]})
    crew = short.event("crew.set", "studio", PAINTERS)
    shown = short.what_if(call, hours, crew, who=who)
    # by hand: animated again by Tuesday 17; 40 drawings at 40 a day to Wednesday 17; camera, two
    # hours, to Thursday 11; cutting to Friday 11; the mix goes on on Saturday, to 11
    (episode,) = shown["episodes"]
    assert (episode["delivery_before"], episode["delivery_after"]) == ("2031-03-10", "2031-03-08")
    (alone,) = short.what_if(call, who=who)["episodes"]
    assert alone["delivery_after"] == "2031-03-11"
    assert [visit["department"] for visit in shown["reopened"]] == ["animation"]
    # nothing of it is recorded, nor could all of it be by any one role
    assert short.get("/retakes")["items"] == []
    refusal = short.problem(short.post("/events", [call, hours, crew], who))
    assert refusal[:2] == (403, "forbidden")


@pytest.mark.parametrize("path", ["/events", "/what-if"])
@pytest.mark.parametrize("due_on", ["1931-03-15", "2131-03-15"])
def test_no_date_decades_away_is_recorded_or_asked_about(
    short: Paper, path: str, due_on: str
) -> None:
    far = short.event("gate.set", "KESTREL-1", {"gate": "lock", "due_on": due_on})
    week = {"days": WEEKDAYS, "opens": "09:00", "closes": "17:00"}
    off = {"from_on": "2031-03-03", "shifts": [week], "days_off": ["2031-04-01", due_on]}
    refusal = short.problem(short.post(path, far))
    assert refusal == (422, "contradiction", [("/data/due_on", "contradiction")])
    refusal = short.problem(short.post(path, short.event("calendar.set", "studio", off), "office"))
    assert refusal == (422, "contradiction", [("/data/days_off/1", "contradiction")])
    assert short.get("/episodes")["items"]


@pytest.mark.parametrize("who", ["office", "producer"])
def test_a_question_strikes_what_another_role_recorded(short: Paper, who: str) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    strike = short.event("event.struck", "studio", {"position": position, "why": "Twice."})
    (episode,) = short.what_if(strike, who=who)["episodes"]
    assert (episode["delivery_before"], episode["delivery_after"]) == ("2031-03-11", "2031-03-10")
    assert short.problem(short.post("/events", strike, who))[:2] == (403, "forbidden")


@pytest.mark.parametrize("path", ["/events", "/what-if"])
def test_facts_before_a_strike_in_a_batch_are_decided_without_what_it_strikes(
    short: Paper, path: str
) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    strike = short.event("event.struck", "studio", {"position": position, "why": "Twice."})
    freed = [short.event("scene.freed", "KESTREL-1/1") for _ in range(2)]
    refusal = short.problem(short.post(path, [freed[0], strike, freed[1]]))
    assert [pointer.split("/")[1] for pointer, _ in refusal[2]] == ["0", "2"]
    again = short.event("retake.called", "KESTREL-1/1", CALL)
    assert short.post(path, [again, strike]).status_code in (200, 201)


def test_a_question_has_the_source_of_whoever_asks(short: Paper) -> None:
    call = short.event("retake.called", "KESTREL-1/1", CALL) | {"source": "//elsewhere"}
    refusal = short.problem(short.post("/what-if", call, "office"))
    assert refusal == (403, "source-not-owned", [("/source", "source-not-owned")])


def test_whoever_may_ask_asks_any_fact_and_reads_no_money_and_no_text(lantern: Lantern) -> None:
    """Every fact by every role, in a studio where it could be recorded at that moment."""
    hidden: set[str] = set()
    for event in lantern.examples():
        hidden |= texts_and_amounts(event)
        for source, (role, _) in ROLES.items():
            answer = lantern.post("/what-if", event | {"source": source}, source)
            name = (event["id"], role)
            if role in {"desk", "auditor"}:
                assert answer.status_code == 403, name
                assert answer.get_json()["type"] == "/problems/insufficient-scope", name
            elif is_the_owners(event):
                assert answer.status_code == 403, name
                assert "erase-text" in answer.get_json()["detail"], name
            else:
                assert answer.status_code == 200, (name, answer.get_json())
            assert [text for text in hidden if text in answer.text] == [], name
        if is_the_owners(event):
            lantern.erase(event)
        else:
            assert lantern.post("/events", event, event["source"]).status_code == 201
    assert len(hidden) > 30


def texts_and_amounts(event: dict[str, Any]) -> set[str]:
    """What people wrote in an event, and the amounts of money in it, as JSON has them."""
    _, personal = split_personal(event)
    data = event["data"]
    amounts = [*data.get("rates", {}).values(), data.get("total")]
    amounts += [line.get("amount") for line in data.get("lines", [])]
    return {str(text) for text in personal.values()} | {
        f'"{amount}"' for amount in amounts if amount is not None
    }


def test_whoever_may_ask_may_see_money() -> None:
    """A question may be about money, which its answer and refusals then show."""
    assert set(ASKING) <= set(SEES_MONEY)
