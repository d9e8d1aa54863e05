"""What is withheld cannot be guessed from the hashes that a desk is shown of it."""

from base64 import b64decode

import orjson
import pytest
from sqlalchemy import Engine

from service.proofs.canonical import SALT
from service.proofs.tree import leaf_hash
from tests.attacks.prices import (
    CARD,
    PATHS,
    found_price,
    get_of,
    look_around,
    prices_up_to,
    size_of,
    tell_card,
    without_salt,
)

from ..paper import Paper

PRICE, MOST_CENTS = "7.31", 1000


def guessed(paper: Paper) -> str | None:
    get = get_of(paper, "layout")
    seen = look_around(get, PATHS, size_of(get))
    (event,) = seen.withheld
    assert len(seen.hashes) > 20
    return found_price(seen, event, CARD, prices_up_to(MOST_CENTS))


def test_a_desk_does_not_find_out_a_price_by_trying_all_of_them(engine: Engine) -> None:
    paper = Paper(engine)
    tell_card(paper, PRICE)
    assert guessed(paper) is None


def test_the_attack_finds_a_price_recorded_before_bodies_had_salts(engine: Engine) -> None:
    paper = Paper(engine)
    with without_salt():
        tell_card(paper, PRICE)
    assert guessed(paper) == PRICE


@pytest.mark.parametrize("who", ["office", "supervisor", "producer", "auditor", "layout"])
def test_whoever_may_read_all_of_a_body_gets_its_salt_and_nobody_else(
    engine: Engine, who: str
) -> None:
    paper = Paper(engine)
    tell_card(paper, PRICE)
    events = orjson.loads(paper.ask("/events?limit=100", who).get_data())
    assert {SALT in event for event in events if not event.get("withheld")} == {True}
    withheld = [event for event in events if event.get("withheld")]
    assert [SALT in event for event in withheld] == ([False] if who == "layout" else [])


def test_every_salt_is_another_and_the_leaf_is_of_the_body_with_it(engine: Engine) -> None:
    paper = Paper(engine)
    tell_card(paper, PRICE)
    events = orjson.loads(paper.ask("/events?limit=100").get_data())
    assert len({event[SALT] for event in events}) == len(events)
    assert {len(bytes.fromhex(event[SALT])) for event in events} == {16}
    last = len(events)
    body = paper.ask(f"/events/{last}/recorded", "auditor").get_data()
    proof = paper.get(f"/proofs/inclusion?position={last}", "auditor")
    assert orjson.loads(body)[SALT] == events[-1][SALT]
    assert b64decode(proof["leaf"]) == leaf_hash(body)


def test_nobody_may_post_a_salt_and_a_repeat_gets_the_first_receipt(engine: Engine) -> None:
    paper = Paper(engine)
    tell_card(paper, PRICE)
    event = paper.event("note.given", "KESTREL-1/1", {"note": "N-1", "to": "layout", "text": "Up."})
    refused = paper.problem(paper.post("/events", [{**event, SALT: "00" * 16}]))
    assert refused == (422, "invalid-event", [("/0/salt", "set-by-the-log")])
    first, again = (paper.post("/events", [event]).get_json()["receipts"][0] for _ in range(2))
    assert (again["repeated"], again["position"]) == (True, first["position"])
