"""What gunicorn refuses by itself leaves as a problem too."""

import json
import socket

from service.web.serving import write_problem


def test_a_request_that_no_app_sees_is_answered_with_a_problem() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        write_problem(ours, 414, "URI Too Long", "Request Line is too large (4990 > 4094) \u20ac")
        head, _, body = theirs.recv(4096).partition(b"\r\n\r\n")
    first, *headers = head.decode("ascii").split("\r\n")
    assert first.startswith("HTTP/1.1 414 ")
    assert f"Content-Length: {len(body)}" in headers
    assert "Content-Type: application/problem+json" in headers
    problem = json.loads(body)
    assert (problem["type"], problem["status"]) == ("about:blank", 414)
    assert problem["title"] in first
    assert "\u20ac" in problem["detail"]
