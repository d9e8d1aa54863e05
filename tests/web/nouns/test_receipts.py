"""What a receipt says of an event, and a refusal of how to go on."""

from typing import Any

from ..paper import Paper


def receipt(opened: Paper, *events: dict[str, Any]) -> dict[str, Any]:
    """The last receipt of a post that must be taken."""
    answer = opened.post("/events", list(events))
    assert answer.status_code in {200, 201}, answer.get_json()
    found: dict[str, Any] = answer.get_json()["receipts"][-1]
    return found


def test_a_receipt_names_what_was_kept_aside(opened: Paper) -> None:
    data = {"department": "layout", "artst": "L7"}
    event = opened.event("work.started", "KESTREL-1/1", data) | {"dtaa": 1}
    assert receipt(opened, event)["kept_aside"] == ["/dtaa", "/data/artst"]
    assert receipt(opened, event)["kept_aside"] == ["/dtaa", "/data/artst"]
    note = {"note": "N1", "to": "layout", "text": "Low."}
    assert receipt(opened, opened.event("note.given", "KESTREL-1/1", note))["kept_aside"] == []


def test_a_repeat_of_what_was_struck_says_so(opened: Paper) -> None:
    event = opened.event("work.started", "KESTREL-1/1", {"department": "layout"})
    position = opened.record(event)
    assert receipt(opened, event)["struck_at"] is None
    strike = {"position": position, "why": "Slip."}
    both = receipt(opened, opened.event("event.struck", "studio", strike), event)
    assert both["repeated"]
    assert both["struck_at"] == position + 1
    assert receipt(opened, event)["struck_at"] == position + 1
    again = receipt(opened, event | {"id": "again"})
    assert (again["struck_at"], again["repeated"]) == (None, False)


def test_an_id_that_is_used_says_of_what(opened: Paper) -> None:
    event = opened.event("work.started", "KESTREL-1/1", {"department": "layout"})
    position = opened.record(event)
    refused = opened.post("/events", event | {"subject": "KESTREL-1/2"})
    assert f"event {position}, recorded {opened.now}, has this source and id" in refused.text
    twice = [event | {"id": "x"}, event | {"id": "x", "subject": "KESTREL-1/2"}]
    assert "another event of this post has" in opened.post("/events", twice).text


def test_what_lies_in_the_future_says_what_time_it_is(opened: Paper) -> None:
    data = {"department": "layout"}
    event = opened.event("work.started", "KESTREL-1/1", data, at="2032-01-01T00:00:00Z")
    assert f"it is {opened.now} here" in opened.post("/events", event).text


def test_who_may_not_strike_what_rests_on_a_strike_is_told_who_may(opened: Paper) -> None:
    listed = next(
        one["position"]
        for one in opened.ask("/events?type=scene.listed&limit=200").get_json()
        if one["subject"] == "KESTREL-1/1"
    )
    opened.tell("work.started", "KESTREL-1/1", {"department": "layout"}, who="layout")
    strike = opened.event("event.struck", "studio", {"position": listed, "why": "Slip."})
    refused = opened.post("/events", strike, "office")
    assert "first have it struck by the desk of layout or the supervisor" in refused.text
