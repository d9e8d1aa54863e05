"""Problems that are answered before any app sees the request."""

import json
from collections.abc import Mapping
from http import HTTPStatus
from typing import NamedTuple

from service.web.problem_types import TYPES
from service.web.problems import MEDIA_TYPE, Problem

_RETRY_S = 5
# where the service has a type of its own for it; RFC 9457, section 4.2.1: about:blank says no more
# than the status does
_OWN = {413: "too-large", 503: "unavailable"}
_HEADERS = {503: {"Retry-After": str(_RETRY_S)}}


class Refusal(NamedTuple):
    """One such problem; `name` is that of its type, None for about:blank.

    `detail` may repeat what was sent: anything but ASCII is escaped.
    """

    status: int
    detail: str
    name: str | None
    headers: Mapping[str, str]

    @classmethod
    def of(cls, status: int, detail: str) -> "Refusal":
        """By its status, of the type that goes with that."""
        return cls(status, detail, _OWN.get(status), _HEADERS.get(status, {}))

    @classmethod
    def of_problem(cls, problem: Problem) -> "Refusal":
        """As a route would answer it."""
        return cls(problem.status, problem.detail, problem.name, problem.headers)

    def sent(self) -> bytes:
        """The answer whole, as it goes over the wire; the connection ends with it."""
        body = self._body()
        headers = {
            "connection": "close",
            "content-type": MEDIA_TYPE,
            "content-length": str(len(body)),
            **self.headers,
        }
        lines = [
            f"HTTP/1.1 {self.status} {HTTPStatus(self.status).phrase}",
            *(f"{name.lower()}: {value}" for name, value in headers.items()),
        ]
        return "".join(f"{line}\r\n" for line in [*lines, ""]).encode("ascii") + body

    def _body(self) -> bytes:
        kind = None if self.name is None else TYPES[self.name]
        problem = {
            "type": "about:blank" if kind is None else f"/problems/{kind.name}",
            "title": HTTPStatus(self.status).phrase if kind is None else kind.title,
            "status": self.status,
            "detail": self.detail,
        }
        return json.dumps(problem).encode("ascii")
