"""What gunicorn refuses by itself leaves as a problem too, and connections go where few are."""

import json
import socket

import pytest

from service.web import serving
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


def test_a_worker_with_connections_gives_way_to_one_with_fewer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    waited: list[float] = []
    monkeypatch.setattr("service.web.serving.time.sleep", waited.append)
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        listener.setblocking(False)
        for connections in (0, 1, 3, 100):
            worker = serving.EvenWorker.__new__(serving.EvenWorker)
            worker.nr_conns = connections
            # nobody connects, as if another worker had been faster
            worker.accept(listener)
            assert worker.nr_conns == connections
    assert waited[0] == 0
    assert waited == sorted(set(waited))
    assert waited[-1] < 0.01
