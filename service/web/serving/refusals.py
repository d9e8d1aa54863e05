"""Problems that are answered before any app sees the request."""

import json
from http import HTTPStatus

from service.web.access import REALM
from service.web.problem_types import TYPES
from service.web.problems import MEDIA_TYPE

_RETRY_S = 5
# where the service has a type of its own for it; RFC 9457, section 4.2.1: about:blank says no more
# than the status does
_OWN = {
    401: "invalid-token",
    413: "too-large",
    429: "too-many-requests",
    503: "unavailable",
}
_HEADERS = {
    401: (b"www-authenticate", REALM.encode("ascii")),
    429: (b"retry-after", b"%d" % _RETRY_S),
    503: (b"retry-after", b"%d" % _RETRY_S),
}


def refusal_body(status: int, detail: str) -> bytes:
    """A problem as bytes; `detail` may repeat what was sent: anything but ASCII is escaped."""
    kind = TYPES[_OWN[status]] if status in _OWN else None
    problem = {
        "type": "about:blank" if kind is None else f"/problems/{kind.name}",
        "title": HTTPStatus(status).phrase if kind is None else kind.title,
        "status": status,
        "detail": detail,
    }
    return json.dumps(problem).encode("ascii")


def refusal_headers(status: int, body: bytes) -> list[tuple[bytes, bytes]]:
    """The headers of such an answer; the connection ends with it."""
    headers = [
        (b"connection", b"close"),
        (b"content-type", MEDIA_TYPE.encode("ascii")),
        (b"content-length", b"%d" % len(body)),
    ]
    return [*headers, _HEADERS[status]] if status in _HEADERS else headers


def refusal(status: int, detail: str) -> bytes:
    """Such an answer whole, as it goes over the wire."""
    body = refusal_body(status, detail)
    head = f"HTTP/1.1 {status} {HTTPStatus(status).phrase}\r\n".encode("ascii")
    headers = b"".join(b"%b: %b\r\n" % header for header in refusal_headers(status, body))
    return head + headers + b"\r\n" + body
