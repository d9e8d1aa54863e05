"""Change orders over HTTP: raised, quoted, priced, read by those who may."""

from typing import Any

import pytest

from ..paper import Paper, another_worker

# one unit of each department's work costs 10; what is spared is credited by half
RATES = dict.fromkeys(
    ("storyboard", "layout", "background", "animation", "paint", "camera", "cutting", "mix"), "10"
)
CARD = {"currency": "EUR", "from_on": "2031-01-01", "rates": RATES, "credit": 0.5}
OMIT = {"change": "omit", "scene": "KESTREL-1/2"}
FEE = {"change": "fee", "amount": "-3.345", "what": "Goodwill"}


@pytest.fixture
def priced(opened: Paper) -> Paper:
    opened.tell("rate.set", "KESTREL", CARD, who="producer")
    raised(opened, "CO-1", [OMIT, FEE])
    return opened


def raised(paper: Paper, code: str, lines: list[dict[str, Any]], asked_by: str = "client") -> int:
    data = {"order": code, "asked_by": asked_by, "words": f"Words of {code}.", "lines": lines}
    return paper.tell("change-order.raised", "KESTREL-1", data)


def price(paper: Paper, code: str, **more: Any) -> int:
    """Record the price that is quoted."""
    quote = paper.get(f"/change-orders/{code}/quote")
    data = {
        "order": code,
        "position": quote["position"],
        "currency": quote["currency"],
        "lines": [{"line": one["line"], "amount": one["amount"]} for one in quote["lines"]],
        "total": quote["total"],
    }
    return paper.tell("change-order.priced", "KESTREL-1", data | more, at=quote["at"])


def test_a_quote_says_money_days_and_lengths(priced: Paper) -> None:
    # the scene's 40 drawings, 5 feet (80 frames) and one each of layout, background and camera are
    # spared: 48 units x 10 x 0.5 = 240.00; the fee is rounded half to even
    quote = priced.get("/change-orders/CO-1/quote")
    assert [(one["line"], one["amount"]) for one in quote["lines"]] == [
        (1, "-240.00"),
        (2, "-3.34"),
    ]
    assert (quote["total"], quote["currency"], quote["credit"]) == ("-243.34", "EUR", 0.5)
    works = {work["department"]: work["dropped"] for work in quote["lines"][0]["works"]}
    assert works == {"layout": 1, "background": 1, "animation": 5, "paint": 40, "camera": 1}
    assert (quote["price_is_stale"], quote["stale_lines"]) == (None, [])
    (length,) = quote["lengths"]
    assert length["episode"] == "KESTREL-1"
    assert length["before"]["length"]["frames_in_all"] == 240
    assert length["after"]["length"]["frames_in_all"] == 160
    first = quote["impact"]["episodes"][0]
    assert first["delivery_after"] < first["delivery_before"]


def test_a_price_is_recorded_and_grows_stale(priced: Paper) -> None:
    price(priced, "CO-1", valid_until="2031-04-01")
    assert priced.get("/change-orders/CO-1/quote")["price_is_stale"] is False
    card = {**CARD, "from_on": "2031-02-01", "rates": {**RATES, "paint": "20"}}
    priced.tell("rate.set", "KESTREL", card, who="producer")
    quote = priced.get("/change-orders/CO-1/quote")
    # 40 drawings more by 10 each, credited by half
    assert quote["price_is_stale"] is True
    assert quote["stale_lines"] == [{"line": 1, "recorded": "-240.00", "now": "-440.00"}]
    shown = priced.get("/change-orders/CO-1")
    assert shown["standing"] == "priced"
    assert [(step["standing"], step["role"]) for step in shown["steps"]] == [
        ("raised", "supervisor"),
        ("priced", "supervisor"),
    ]
    assert shown["price"]["total"] == "-243.34"
    assert shown["price"]["valid_until"] == "2031-04-01"
    assert shown["lines"] == [OMIT, FEE]
    assert (shown["words"], shown["facts"], shown["why"]) == ("Words of CO-1.", [], None)


def test_orders_are_listed_the_newest_first(priced: Paper) -> None:
    raised(priced, "CO-2", [], "broadcaster")
    refusal = {"order": "CO-1", "why": "Too late."}
    priced.tell("change-order.declined", "KESTREL-1", refusal, who="producer")

    def codes(query: str = "") -> list[str]:
        return [one["order"] for one in priced.get(f"/change-orders{query}")["items"]]

    assert codes() == ["CO-2", "CO-1"]
    assert codes("?standing=declined") == ["CO-1"]
    assert codes("?asked_by=broadcaster") == ["CO-2"]
    assert codes("?show=KESTREL&episode=KESTREL-1") == ["CO-2", "CO-1"]
    assert codes("?episode=KESTREL-2") == []
    assert [one["order"] for one in priced.all_pages("/change-orders", 1)] == ["CO-2", "CO-1"]
    assert priced.get("/change-orders/CO-1")["why"] == "Too late."
    assert priced.refused("/change-orders/CO-1/quote")[:2] == (409, "no-quote")


@pytest.mark.parametrize("path", ["", "/CO-1", "/CO-1/quote"])
def test_desks_read_no_orders(priced: Paper, path: str) -> None:
    assert priced.refused(f"/change-orders{path}", "layout")[:2] == (403, "insufficient-scope")
    assert priced.get(f"/change-orders{path}", "auditor")


def test_no_quote_without_a_rate(opened: Paper) -> None:
    raised(opened, "CO-1", [OMIT])
    assert opened.refused("/change-orders/CO-1/quote") == (
        409,
        "no-quote",
        [("/data/order", "unknown")],
    )
    opened.tell("rate.set", "KESTREL", {**CARD, "rates": {"layout": "1"}}, who="producer")
    answer = opened.ask("/change-orders/CO-1/quote").get_json()
    assert {error["pointer"] for error in answer["errors"]} == {"/data/lines/0"}
    assert "paint" in " ".join(error["detail"] for error in answer["errors"])


def test_an_unknown_order(priced: Paper) -> None:
    assert priced.refused("/change-orders/CO-9")[:2] == (404, "not-found")


def approval(paper: Paper, code: str, **more: Any) -> dict[str, Any]:
    return paper.event("change-order.approved", "KESTREL-1", {"order": code, **more})


RETIME = {"change": "retime", "scene": "KESTREL-1/3", "frames": 96}


@pytest.fixture
def to_approve(opened: Paper) -> Paper:
    opened.tell("rate.set", "KESTREL", CARD, who="producer")
    raised(opened, "CO-1", [OMIT, FEE, RETIME])
    price(opened, "CO-1")
    return opened


def test_an_approval_records_the_facts_behind_itself(to_approve: Paper) -> None:
    moved = {"episode": "KESTREL-2", "gate": "delivery", "due_on": "2031-06-16"}
    posted = approval(to_approve, "CO-1", gates=[moved])
    tried = to_approve.what_if(posted, who="producer")
    answer = to_approve.post("/events", posted, "producer")
    assert answer.status_code == 201, answer.get_json()
    receipts = answer.get_json()["receipts"]
    at = receipts[0]["position"]
    assert answer.headers["Location"] == f"/events/{at}"
    assert [(one["id"], one["position"]) for one in receipts] == [
        (posted["id"], at),
        *((f"{posted['id']}/{number}", at + number) for number in (1, 2, 3)),
    ]
    events = [to_approve.ask(f"/events/{at + number}").get_json() for number in range(4)]
    assert [event.get("cause") for event in events] == [None, "CO-1", "CO-1", "CO-1"]
    assert [event["data"] for event in events[1:]] == [
        {},
        {"frames": 96},
        {"gate": "delivery", "due_on": "2031-06-16", "hard": False},
    ]
    assert {event["source"] for event in events} == {"//paper/tests"}
    assert {(event["time"], event["posterrole"]) for event in events} == {
        (posted["time"], "producer")
    }
    shown = to_approve.get("/change-orders/CO-1")
    assert (shown["standing"], shown["facts"]) == ("approved", [at + 1, at + 2, at + 3])
    assert to_approve.get("/episodes/KESTREL-1/scenes/2")["omitted_at"] is not None
    assert to_approve.get("/episodes/KESTREL-1/scenes/3")["length"]["frames_in_all"] == 96
    # what was tried shows the whole: the second scene gone, the gate of the other episode moved
    assert "KESTREL-1/2" in {scene["scene"] for scene in tried["scenes"]}
    assert [one["due_on"] for one in tried["episodes"]] == ["2031-04-15", "2031-06-16"]


def test_a_repeat_of_an_approval_gets_the_first_receipts(to_approve: Paper) -> None:
    posted = approval(to_approve, "CO-1")
    first = to_approve.post("/events", posted, "producer").get_json()["receipts"]
    head = to_approve.get("/change-orders/CO-1")["position"]
    again = to_approve.post("/events", posted, "producer")
    assert again.status_code == 200
    assert again.get_json()["receipts"] == [{**one, "repeated": True} for one in first]
    assert to_approve.get("/change-orders/CO-1")["position"] == head


def test_what_follows_an_approval_in_its_batch_lies_behind_its_facts(to_approve: Paper) -> None:
    posted = approval(to_approve, "CO-1")
    note = to_approve.event(
        "note.given", "KESTREL-1/3", {"note": "N1", "to": "layout", "text": "Longer."}
    )
    answer = to_approve.post("/events", [posted, note], "producer").get_json()
    at = answer["receipts"][0]["position"]
    assert [(one["id"], one["position"] - at) for one in answer["receipts"]] == [
        (posted["id"], 0),
        (f"{posted['id']}/1", 1),
        (f"{posted['id']}/2", 2),
        (note["id"], 3),
    ]


def test_only_the_producer_approves(to_approve: Paper) -> None:
    for who in ("office", "supervisor", "layout"):
        answer = to_approve.post("/events", approval(to_approve, "CO-1"), who)
        assert to_approve.problem(answer)[:2] == (403, "forbidden")
    # nor does the producer omit a scene without an order
    omission = to_approve.event("scene.omitted", "KESTREL-1/1")
    answer = to_approve.post("/events", omission, "producer")
    assert to_approve.problem(answer)[:2] == (403, "forbidden")
    # and nobody says himself that an order was the cause
    omission["cause"] = "CO-1"
    answer = to_approve.post("/events", omission, "supervisor")
    assert to_approve.problem(answer) == (422, "invalid-event", [("/cause", "set-by-the-log")])


def test_a_stale_price_must_be_meant(to_approve: Paper) -> None:
    card = {**CARD, "from_on": "2031-02-01", "rates": {**RATES, "paint": "20"}}
    to_approve.tell("rate.set", "KESTREL", card, who="producer")
    answer = to_approve.post("/events", approval(to_approve, "CO-1"), "producer")
    assert to_approve.problem(answer) == (422, "contradiction", [("/data/order", "contradiction")])
    detail = answer.get_json()["errors"][0]["detail"]
    assert "line 1 was priced at -240.00 and is -440.00 now" in detail
    at = to_approve.get("/change-orders/CO-1")["price"]["position"]
    wrong = to_approve.post("/events", approval(to_approve, "CO-1", position=at - 1), "producer")
    assert to_approve.problem(wrong)[2] == [("/data/position", "contradiction")]
    to_approve.tell(
        "change-order.approved", "KESTREL-1", {"order": "CO-1", "position": at}, who="producer"
    )
    assert to_approve.get("/change-orders/CO-1")["standing"] == "approved"


def test_an_approval_whose_facts_are_refused_records_nothing(to_approve: Paper) -> None:
    to_approve.tell("scene.omitted", "KESTREL-1/2")
    at = to_approve.get("/change-orders/CO-1")["price"]["position"]
    posted = approval(to_approve, "CO-1", position=at)
    head = to_approve.get("/change-orders/CO-1")["position"]
    answer = to_approve.post("/events", posted, "producer")
    assert to_approve.problem(answer)[:2] == (422, "contradiction")
    assert "line 1 (omit KESTREL-1/2)" in answer.get_json()["errors"][0]["detail"]
    assert to_approve.get("/change-orders/CO-1")["position"] == head


def test_ids_of_facts_that_are_taken_refuse_the_approval(to_approve: Paper) -> None:
    posted = approval(to_approve, "CO-1")
    other = to_approve.event("priority.set", "KESTREL-1/1", {"priority": 1})
    other["id"] = f"{posted['id']}/2"
    both = to_approve.post("/events", [posted, other], "producer")
    assert to_approve.problem(both) == (409, "id-reused", [("/0/id", "id-reused")])
    to_approve.record(other)
    alone = to_approve.post("/events", posted, "producer")
    assert to_approve.problem(alone) == (409, "id-reused", [("/id", "id-reused")])


def test_an_approval_is_struck_as_a_whole(to_approve: Paper) -> None:
    posted = approval(to_approve, "CO-1")
    at = to_approve.record(posted, who="producer") - 2

    def strike(*positions: int) -> list[dict[str, Any]]:
        why = "Approved by mistake."
        return [
            to_approve.event("event.struck", "studio", {"position": one, "why": why})
            for one in positions
        ]

    for part, rest in (((at,), (at + 1, at + 2)), ((at + 1, at + 2), (at,))):
        answer = to_approve.post("/events", strike(*part), "producer")
        name, errors = to_approve.problem(answer)[1:]
        assert (name, {code for _, code in errors}) == ("contradiction", {"strike-breaks"})
        assert ", ".join(map(str, rest)) in answer.get_json()["errors"][0]["detail"]
    by_supervisor = to_approve.post("/events", strike(at, at + 1, at + 2))
    assert to_approve.problem(by_supervisor)[:2] == (403, "forbidden")
    to_approve.record(*strike(at, at + 1, at + 2), who="producer")
    shown = to_approve.get("/change-orders/CO-1")
    assert (shown["standing"], shown["facts"]) == ("priced", [])
    assert to_approve.get("/episodes/KESTREL-1/scenes/2")["omitted_at"] is None


def test_another_worker_reads_the_same_out_of_the_log(to_approve: Paper) -> None:
    to_approve.tell("change-order.approved", "KESTREL-1", {"order": "CO-1"}, who="producer")
    shown = to_approve.get("/change-orders/CO-1")
    to_approve.app = another_worker(to_approve.engine)
    assert to_approve.get("/change-orders/CO-1") == shown
    assert to_approve.get("/episodes/KESTREL-1/scenes/2")["omitted_at"] is not None


def test_an_episode_as_it_was_before_an_approval_and_after(to_approve: Paper) -> None:
    before = to_approve.now
    to_approve.move_clock("2031-03-04T10:00:00Z")
    to_approve.tell("change-order.approved", "KESTREL-1", {"order": "CO-1"}, who="producer")
    for clock in ("recorded", "happened"):
        for at, omitted in ((before, False), (to_approve.now, True)):
            path = f"/episodes/KESTREL-1/replay?at={at}&clock={clock}"
            scenes = {one["scene"]: one for one in to_approve.get(path)["scenes"]}
            assert (scenes["KESTREL-1/2"]["omitted_at"] is not None) == omitted, (clock, at)
