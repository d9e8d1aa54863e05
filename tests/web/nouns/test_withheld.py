"""What a desk learns of events that are withheld from it: their positions and types alone."""

import json

from ..paper import Paper
from .test_orders import CARD

SCENE = "KESTREL-1/1"
ORDER = "QUIET-DEAL-9"


def ordered(paper: Paper) -> tuple[int, int]:
    """A desk's start, and behind it an order that calls it back, with a price that is over."""
    began = {"department": "layout", "artist": "layout-7"}
    started = paper.tell("work.started", SCENE, began, who="layout")
    paper.tell("rate.set", "KESTREL", CARD, who="producer")
    line = {
        "change": "retake", "items": [SCENE], "back_to": "layout", "strands": ["character"],
        "share": 0.5,
    }  # fmt: skip
    order = {"order": ORDER, "asked_by": "client", "words": "Quietly.", "lines": [line]}
    paper.tell("change-order.raised", "KESTREL-1", order)
    quote = paper.get(f"/change-orders/{ORDER}/quote")
    price = {
        "order": ORDER,
        "position": quote["position"],
        "currency": quote["currency"],
        "lines": [{"line": one["line"], "amount": one["amount"]} for one in quote["lines"]],
        "total": quote["total"],
        "valid_until": "2031-01-31",
    }
    return started, paper.tell("change-order.priced", "KESTREL-1", price, at=quote["at"])


def test_what_rests_on_a_struck_event_is_named_to_a_desk_by_position_and_type(
    opened: Paper,
) -> None:
    started, priced = ordered(opened)
    strike = opened.event("event.struck", "studio", {"position": started, "why": "A slip."})
    answer = opened.post("/events", strike, "layout")
    assert answer.status_code == 422
    body = json.dumps(answer.get_json())
    assert ORDER not in body
    assert "KESTREL" not in body
    assert f"event {priced - 1} (change-order.raised) rests on it" in body
    assert f"event {priced} (change-order.priced) rests on it" in body
    # whoever may read orders is told why
    assert ORDER in json.dumps(opened.post("/events", strike, "supervisor").get_json())


def test_a_diary_shows_a_desk_no_mark_that_says_what_a_withheld_event_holds(
    opened: Paper,
) -> None:
    _, priced = ordered(opened)

    def marks(who: str) -> list[str]:
        items = opened.get("/episodes/KESTREL-1/diary?limit=100", who)["items"]
        (entry,) = [one for one in items if one["position"] == priced]
        found: list[str] = entry["marks"]
        return found

    assert marks("supervisor") == ["date-past"]
    assert marks("layout") == []
