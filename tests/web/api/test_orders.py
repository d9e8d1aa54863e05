"""Change orders over HTTP: raised, quoted, priced, read by those who may."""

from typing import Any

import pytest

from ..paper import Paper

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
