"""The client alone: what it needs, what it sends, what it raises."""

import shutil
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import httpx
import pytest

from service import client
from service.client import Client, RefusedError

ALONE = """
import sys
sys.modules["service"] = None  # whoever imports it now fails
sys.path.insert(0, {folder!r})
before = set(sys.modules)
import client
found = {{name.partition(".")[0] for name in set(sys.modules) - before}}
print(*sorted(found - sys.stdlib_module_names))
"""
OF_HTTPX = {"anyio", "certifi", "h11", "httpcore", "httpx", "idna", "sniffio", "typing_extensions"}


def test_a_copy_of_it_needs_httpx_and_nothing_else(tmp_path: Path) -> None:
    shutil.copy(client.__file__, tmp_path)
    script = ALONE.format(folder=str(tmp_path))
    done = subprocess.run(
        [sys.executable, "-I", "-c", script], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    # httpx shows progress with rich and click where they are installed: they are not its own needs
    assert set(done.stdout.split()) - {"rich", "click", "pygments"} <= {"client", *OF_HTTPX}


def mock_client(answers: list[httpx.Response]) -> tuple[Client, list[httpx.Request]]:
    """A client of a service that gives these answers, and the requests it has sent."""
    sent: list[httpx.Request] = []

    def answer(request: httpx.Request) -> httpx.Response:
        sent.append(request)
        return answers[len(sent) - 1]

    http = httpx.Client(transport=httpx.MockTransport(answer))
    return Client("http://127.0.0.1:1/", "secret", http), sent


def test_a_post_is_a_batch_with_the_token() -> None:
    ledger, sent = mock_client([httpx.Response(201, json={"receipts": [{"position": 7}]})])
    data = MappingProxyType({"on": date(2031, 3, 4), "at": datetime(2031, 3, 4, 9, tzinfo=UTC)})
    one = client.event("/desks/layout", "x", "OTTER-1/1", data, time="t", id="i")
    assert ledger.post([one]) == [{"position": 7}]
    assert sent[0].url == "http://127.0.0.1:1/events"
    assert sent[0].headers["authorization"] == "Bearer secret"
    assert sent[0].headers["content-type"] == "application/cloudevents-batch+json"
    assert b'"on": "2031-03-04", "at": "2031-03-04T09:00:00+00:00"' in sent[0].content


@pytest.mark.parametrize(("value", "error"), [(object(), TypeError), (float("nan"), ValueError)])
def test_what_json_has_no_form_of_is_not_sent(value: Any, error: type[Exception]) -> None:
    ledger, sent = mock_client([])
    with pytest.raises(error):
        ledger.put("/clock", {"now": value})
    assert sent == []


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (
            httpx.Response(422, json={"title": "No", "errors": [{"pointer": "/0", "detail": "d"}]}),
            "422 No: /0: d",
        ),
        (httpx.Response(403, json={"title": "No", "detail": "why"}), "403 No: why"),
        (httpx.Response(502, text="<html>bad gateway"), "502 Bad Gateway: <html>bad gateway"),
    ],
)
def test_a_refusal_is_raised_with_what_the_service_said(answer: httpx.Response, says: str) -> None:
    ledger, _ = mock_client([answer])
    with pytest.raises(RefusedError) as raised:
        ledger.get("/episodes")
    assert str(raised.value) == says
    assert raised.value.status == answer.status_code


def test_pages_follow_the_links_until_there_is_none() -> None:
    link = {"Link": '</notes?cursor=abc>; rel="next"'}
    ledger, sent = mock_client(
        [
            httpx.Response(200, json={"items": [1]}, headers=link),
            httpx.Response(200, json={"items": [2]}),
        ]
    )
    assert [page["items"] for page in ledger.pages("/notes", limit=1)] == [[1], [2]]
    assert [request.url.raw_path for request in sent] == [b"/notes?limit=1", b"/notes?cursor=abc"]
