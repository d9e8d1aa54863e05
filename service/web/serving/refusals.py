"""Problems that are answered before any app sees the request."""

import json
from http import HTTPStatus

from service.web.problems import MEDIA_TYPE


def refusal_body(status: int, detail: str) -> bytes:
    """A problem as bytes. RFC 9457, section 4.2.1: about:blank says no more than the status does.

    `detail` may repeat what was sent: anything but ASCII is escaped.
    """
    title = HTTPStatus(status).phrase
    problem = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    return json.dumps(problem).encode("ascii")


def refusal_headers(body: bytes) -> list[tuple[bytes, bytes]]:
    """The headers of such an answer; the connection ends with it."""
    return [
        (b"connection", b"close"),
        (b"content-type", MEDIA_TYPE.encode("ascii")),
        (b"content-length", b"%d" % len(body)),
    ]


def refusal(status: int, detail: str) -> bytes:
    """Such an answer whole, as it goes over the wire."""
    body = refusal_body(status, detail)
    head = f"HTTP/1.1 {status} {HTTPStatus(status).phrase}\r\n".encode("ascii")
    headers = b"".join(b"%b: %b\r\n" % header for header in refusal_headers(body))
    return head + headers + b"\r\n" + body
