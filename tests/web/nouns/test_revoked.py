"""A revoked token is refused at once, although a worker remembers it."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, event

from service.log import tokens
from service.log.append import read_head
from service.web.services import services

from ..paper import Paper, another_worker
from ..provided import provide_with


def revoke(paper: Paper, who: str = "supervisor") -> None:
    with paper.engine.begin() as connection:
        for issued in tokens.list_tokens(connection, "paper"):
            if issued.token.name == who:
                tokens.revoke(connection, "paper", issued.token.token_id, datetime.now(UTC))


def position(engine: Engine) -> int:
    with engine.connect() as connection:
        return read_head(connection, "paper").position


@pytest.mark.parametrize("remembered", [True, False])
def test_nothing_is_recorded_with_a_revoked_token(paper: Paper, remembered: bool) -> None:
    paper.open(1, ("KESTREL-1",))
    if not remembered:
        paper.app = another_worker(paper.engine)
    before = position(paper.engine)
    revoke(paper)
    good = paper.event("priority.set", "KESTREL-1/1", {"priority": 1})
    bodies: tuple[object, ...] = (
        good,
        [good],
        [],
        {},
        [{}],
        paper.event("scene.freed", "KESTREL-1/1"),
    )
    for body in bodies:
        answer = paper.post("/events", body)
        assert answer.status_code == 401, body
        assert answer.get_json()["type"] == "/problems/invalid-token"
    assert position(paper.engine) == before
    assert paper.post("/events", [paper.event("show.opened", "OTHER", {"title": "Other"})],
                      who="office").status_code == 201  # fmt: skip


def test_wrong_posts_are_refused_for_their_errors_while_the_token_counts(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    assert paper.post("/events", []).status_code == 200
    freed = paper.event("scene.freed", "KESTREL-1/1")
    for body, name in (({}, "invalid-event"), (freed, "contradiction")):
        assert paper.post("/events", body).get_json()["type"] == f"/problems/{name}"


def test_a_token_is_looked_up_once_for_posts_that_are_recorded(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    looked_up: list[object] = []
    event.listen(paper.engine, "checkout", lambda *_: looked_up.append(1))
    paper.record(paper.event("priority.set", "KESTREL-1/1", {"priority": 1}))
    assert len(looked_up) == 1  # for the commit alone


def test_a_worker_remembers_only_so_many(paper: Paper) -> None:
    provide_with(paper.app, tokens_seen_max=2)
    for who in ("office", "supervisor", "producer", "auditor"):
        assert paper.post("/events", [], who=who).status_code == 200
        with paper.app.app_context():
            assert len(services().tokens_seen) <= 2


def test_a_worker_forgets_a_token_that_it_finds_revoked(paper: Paper) -> None:
    """Its requests would otherwise count as those of a valid token, not as wrong guesses."""
    paper.open(1, ("KESTREL-1",))
    assert paper.ask("/shows", "supervisor").status_code == 200
    seen = paper.app.extensions["retake-ledger"].tokens_seen
    hashed = tokens.hashed(paper.secrets["supervisor"])
    assert hashed in seen
    revoke(paper)
    assert paper.ask("/shows", "supervisor").status_code == 401
    assert hashed not in seen
