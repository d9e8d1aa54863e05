"""Quotas of tokens, and of addresses that show wrong ones.

The headers are those of the IETF draft "RateLimit header fields for HTTP"
(draft-ietf-httpapi-ratelimit-headers-10), sections 3 and 4, from memory: lists of RFC 9651 whose
items are strings with parameters.
"""

import re
import time

import pytest

from service.web.access import REALM
from service.web.problems import Problem
from service.web.throttle import WINDOW_S, Throttle

from ..paper import Paper, another_worker
from .test_revoked import revoke

QUOTA, WRONG = 6, 3


def throttled(paper: Paper) -> Paper:
    Throttle(QUOTA, WRONG).install(paper.app)
    paper.get("/clock", "office")  # seen from now on
    paper.get("/clock", "supervisor")
    return paper


def test_a_token_has_a_quota_and_answers_say_what_is_left(paper: Paper) -> None:
    throttled(paper)
    left = []
    for _ in range(QUOTA):
        answer = paper.ask("/clock", "office")
        assert answer.status_code == 200
        assert answer.headers["RateLimit-Policy"] == f'"token";q={QUOTA};w={WINDOW_S}'
        found = re.fullmatch(r'"token";r=(\d+);t=(\d+)', answer.headers["RateLimit"])
        assert found is not None
        left.append(int(found[1]))
        assert 1 <= int(found[2]) <= WINDOW_S + 1
    assert left == list(range(QUOTA))[::-1]
    answer = paper.ask("/clock", "office")
    assert paper.problem(answer) == (429, "too-many-requests", [])
    assert 1 <= int(answer.headers["Retry-After"]) <= WINDOW_S + 1
    # no other client is held up
    assert paper.ask("/clock", "supervisor").status_code == 200
    assert paper.app.test_client().get("/live").status_code == 200


def test_the_quota_is_that_of_one_app(paper: Paper) -> None:
    throttled(paper)
    paper.app = another_worker(paper.engine)
    for _ in range(QUOTA + 1):
        assert "RateLimit" not in paper.ask("/clock", "office").headers


def wrong(paper: Paper, secret: str, address: str) -> int:
    answer = paper.app.test_client().get(
        "/clock",
        headers={"Authorization": f"Bearer {secret}"},
        environ_base={"REMOTE_ADDR": address},
    )
    return answer.status_code


def test_wrong_tokens_are_slowed_by_address(paper: Paper) -> None:
    throttled(paper)
    guesses = [wrong(paper, f"guess{number}", "192.0.2.1") for number in range(WRONG + 2)]
    assert guesses == [401] * WRONG + [429] * 2
    # a right guess among them would not be found out either, but a token in use goes on
    assert wrong(paper, paper.secrets["producer"], "192.0.2.1") == 429
    assert wrong(paper, paper.secrets["office"], "192.0.2.1") == 200
    assert wrong(paper, "guess", "192.0.2.2") == 401


def test_what_is_refused_before_it_is_whole_counts_as_well(paper: Paper) -> None:
    throttle = Throttle(QUOTA, WRONG)

    def problem_of(shown: str | None, address: str = "192.0.2.1") -> Problem | None:
        with paper.app.app_context():
            return throttle.refused(shown, address)

    def refused(secret: str, address: str = "192.0.2.1") -> str | None:
        problem = problem_of(f"Bearer {secret}", address)
        return None if problem is None else problem.name

    assert refused(paper.secrets["office"]) is None
    # a request without a token is no wrong guess
    for _ in range(WRONG):
        shown = problem_of(None)
        assert shown is not None
        assert (shown.name, shown.headers["WWW-Authenticate"]) == ("no-token", REALM)
    assert refused("") == "invalid-token"
    guesses = [refused(f"guess{number}") for number in range(WRONG)]
    assert guesses == ["invalid-token"] * (WRONG - 1) + ["too-many-requests"]
    slowed = problem_of("Bearer guess")
    assert slowed is not None
    assert "wrong tokens" in slowed.detail
    assert 1 <= int(slowed.headers["Retry-After"]) <= WINDOW_S + 1
    assert refused(paper.secrets["office"]) is None  # in use before, so not slowed
    revoke(paper, "office")
    assert refused(paper.secrets["office"]) == "invalid-token"  # which is looked up even so
    assert refused(paper.secrets["producer"]) == "too-many-requests"
    assert refused(paper.secrets["producer"], "192.0.2.2") is None


def test_a_clock_that_is_set_back_holds_nobody_up(
    paper: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    throttled(paper)
    assert [paper.ask("/clock", "office").status_code for _ in range(QUOTA + 1)][-1] == 429
    assert [wrong(paper, "guess", "192.0.2.1") for _ in range(WRONG + 1)][-1] == 429
    now_s = time.time()
    monkeypatch.setattr(time, "time", lambda: now_s - 3600)
    answer = paper.ask("/clock", "office")
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) <= WINDOW_S + 1
    assert wrong(paper, "guess", "192.0.2.1") == 429
