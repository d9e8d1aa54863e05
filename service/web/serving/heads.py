"""What can be refused of a request by its head alone, before anything is read or run."""

from collections.abc import Sequence
from typing import NamedTuple

import httptools

from service.web.problems import too_large
from service.web.serving.limits import Limits

_OFFERING = frozenset({b"upgrade", b"http2-settings"})


class RequestHead(NamedTuple):
    """The head of a request as it came; names of headers are in lower case."""

    url: bytes
    version: str
    headers: Sequence[tuple[bytes, bytes]]


def problem_of(head: RequestHead, limits: Limits) -> tuple[int, str] | None:
    """The status and the detail with which a head is refused, None if it is not."""
    return _problem_of_sizes(head, limits) or _problem_of_form(head)


def without_offer(headers: Sequence[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Headers without those that offer another protocol, of which this service has none."""
    return [
        (name, _options_kept(value) if name == b"connection" else value)
        for name, value in headers
        if name not in _OFFERING
    ]


def _options_kept(connection: bytes) -> bytes:
    """A Connection header's options without those that go with an offer; none may be left."""
    options = [option.strip() for option in connection.split(b",")]
    return b", ".join(option for option in options if option.lower() not in _OFFERING)


def head_too_large(limits: Limits) -> str:
    """What is said of a head of too many bytes."""
    return f"At most {limits.head_bytes_max} bytes of request line and headers are taken."


def _problem_of_sizes(head: RequestHead, limits: Limits) -> tuple[int, str] | None:
    if len(head.url) > limits.address_bytes_max:
        return 414, f"At most {limits.address_bytes_max} bytes of an address are taken."
    if sum(len(name) + len(value) for name, value in head.headers) > limits.head_bytes_max:
        return 431, head_too_large(limits)
    most = limits.body_bytes_max
    if any(int(value) > most for name, value in head.headers if name == b"content-length"):
        return 413, too_large(most)
    return None


def _problem_of_form(head: RequestHead) -> tuple[int, str] | None:
    names = [name for name, _ in head.headers]
    for name in names:
        if b"_" in name:
            # behind HTTP a hyphen and an underscore are one: it could pass for another header
            shown = name.decode("ascii", "backslashreplace")
            return 400, f"The header {shown} has an underscore: write hyphens, or leave it out."
    if head.version not in ("1.0", "1.1"):
        return 505, "This service speaks HTTP/1.1."
    codings = b",".join(value for name, value in head.headers if name == b"transfer-encoding")
    if codings and (codings.lower() != b"chunked" or head.version == "1.0"):
        # RFC 9112, sections 6.1 and 6.3: where the body ends must be beyond doubt
        ends_chunked = codings.lower().replace(b" ", b"").endswith(b",chunked")
        status = 501 if head.version == "1.1" and ends_chunked else 400
        return status, "Send a body with Content-Length, or with HTTP/1.1 chunked and no other."
    if head.version == "1.1" and names.count(b"host") != 1:
        return 400, "A request has one Host header (RFC 9112, section 3.2)."
    try:
        httptools.parse_url(head.url).path.decode("ascii")
    except (httptools.HttpParserError, UnicodeDecodeError, AttributeError):
        return 400, "The request line names no address of this service: write a path."
    return None
