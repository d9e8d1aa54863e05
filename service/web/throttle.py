"""How many requests a token may send in a while, and how many wrong tokens an address may show.

Counted in each worker by itself. The headers are those of the IETF draft "RateLimit header fields
for HTTP" (draft-ietf-httpapi-ratelimit-headers-10, from memory): a policy with its quota `q` and
window `w` in seconds, and what remains `r` until it is whole again after `t` seconds.
"""

import time
from http import HTTPStatus

from flask import Flask, Response, g, request
from limits import RateLimitItem, RateLimitItemPerSecond
from limits.strategies import FixedWindowRateLimiter

from service.web.access import find, invalid_token, secret_in, secret_of, seen_before
from service.web.problems import Problem, ProblemError
from service.web.windows import Windows

WINDOW_S = 10
_POLICY = "token"


class Throttle:
    """The counts of one worker.

    `requests_max` requests of a token are answered in a window, and `wrong_max` wrong tokens of an
    address tolerated: what comes behind them gets 429 until the next.
    """

    def __init__(self, requests_max: int, wrong_max: int) -> None:
        self._limiter = FixedWindowRateLimiter(Windows())
        self._requests = RateLimitItemPerSecond(requests_max, WINDOW_S, namespace="request")
        self._wrong = RateLimitItemPerSecond(wrong_max, WINDOW_S, namespace="wrong")

    def install(self, app: Flask) -> None:
        """Count every request of an app that shows a token."""
        app.before_request(self._look)
        app.after_request(self._count_and_say)

    def refused(self, authorization: str | None, address: str) -> Problem | None:
        """With which problem a client is refused by its token alone; None if it is not.

        For what is decided before a request is whole; its route asks again. Needs an app's context.
        """
        try:
            secret = secret_in(authorization)
        except ProblemError as error:
            if authorization is not None:
                self._count_wrong(address)
            return error.problem
        if seen_before(secret) is None and self.is_slowed(address):
            return self._slowed(address).problem
        # looked up although it was seen: it may have been revoked since
        if find(secret) is None:
            self._count_wrong(address)
            return invalid_token().problem
        return None

    def _look(self) -> None:
        secret = secret_of(request.headers.get("Authorization"))
        if secret is None:
            return
        seen = seen_before(secret)
        if seen is None:
            address = request.remote_addr or ""
            if self.is_slowed(address):
                raise self._slowed(address)
        elif not self._limiter.hit(self._requests, seen.token_id):
            detail = (
                f"This token has sent {self._requests.amount} requests in {WINDOW_S} s. "
                "Post events in batches, and ask again later."
            )
            raise self._too_many(detail, self._requests, seen.token_id)

    def _slowed(self, address: str) -> ProblemError:
        detail = "Too many wrong tokens came from this address: check yours, and ask later."
        return self._too_many(detail, self._wrong, address)

    def _too_many(self, detail: str, item: RateLimitItem, key: str) -> ProblemError:
        _, resets_in_s = self._left(item, key)
        return ProblemError("too-many-requests", detail, headers={"Retry-After": str(resets_in_s)})

    def _count_and_say(self, answer: Response) -> Response:
        token = g.get("token")
        if token is not None:
            left, resets_in_s = self._left(self._requests, token.token_id)
            answer.headers["RateLimit-Policy"] = (
                f'"{_POLICY}";q={self._requests.amount};w={WINDOW_S}'
            )
            answer.headers["RateLimit"] = f'"{_POLICY}";r={left};t={resets_in_s}'
        elif answer.status_code == HTTPStatus.UNAUTHORIZED and "Authorization" in request.headers:
            self._count_wrong(request.remote_addr or "")
        return answer

    def is_slowed(self, address: str) -> bool:
        """Whether an address has shown so many wrong tokens that none is looked up for now."""
        return not self._limiter.test(self._wrong, address)

    def _count_wrong(self, address: str) -> None:
        self._limiter.hit(self._wrong, address)

    def _left(self, item: RateLimitItem, key: str) -> tuple[int, int]:
        stats = self._limiter.get_window_stats(item, key)
        return stats.remaining, max(1, round(stats.reset_time - time.monotonic() + 0.5))
