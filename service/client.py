"""What a department's script imports: say facts, post them, read answers.

    from service.client import Client, event

    with Client("http://127.0.0.1:8765", token) as ledger:
        ledger.post([event("/desks/layout", "work.started", "LANTERN-104/12",
                           {"department": "layout"}, time="2031-03-04T09:00:00Z", id="l-104-12")])

A post may be repeated as often as a network needs: the same source and id are recorded once.
This file needs httpx and nothing else, so it may be copied to a machine without the service.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from types import TracebackType
from typing import Any

import httpx

BATCH = "application/cloudevents-batch+json"
READ_S = 60.0


class RefusedError(Exception):
    """The service answered with a problem; nothing of the post was recorded.

    `problem` is the RFC 9457 document: its `errors` name every member that is wrong.
    """

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        self.status = status
        self.problem = problem
        errors = problem.get("errors") or ()
        details = "; ".join(f"{error.get('pointer')}: {error.get('detail')}" for error in errors)
        super().__init__(f"{status} {problem.get('title')}: {details or problem.get('detail')}")


def event(
    source: str, type: str, subject: str, data: Mapping[str, Any], *, time: str, id: str
) -> dict[str, Any]:
    """A CloudEvent of a fact.

    `id` must be the same when the same fact is posted again, and new for every other fact.
    `time` is RFC 3339 with a zone: when it happened.
    """
    return {
        "specversion": "1.0",
        "id": id,
        "source": source,
        "type": type,
        "subject": subject,
        "time": time,
        "data": dict(data),
    }


class Client:
    """A connection to the service, with one token.

    Clients of several tokens may share one connection: `http`, which they then do not close.
    """

    def __init__(self, url: str, token: str, http: httpx.Client | None = None) -> None:
        self._own = http is None
        self._http = httpx.Client(timeout=READ_S) if http is None else http
        self._url = url.rstrip("/")
        self._bearer = {"Authorization": f"Bearer {token}"}

    def post(self, events: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
        """Post a batch that lands whole or not at all; gives a receipt for each event.

        Behind the approval of a change order there is one for each fact that it recorded. Strikes
        are recorded first, so that the last position need not be the highest.
        Raises RefusedError, and httpx.TransportError when the service cannot be reached: post
        the same again then.
        """
        answer = self._send("POST", "/events", content=_encoded(events), type_=BATCH)
        receipts: list[dict[str, Any]] = self._read(answer)["receipts"]
        return receipts

    def what_if(self, events: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """The impact that events would have; nothing is recorded. Raises RefusedError."""
        answer = self._send("POST", "/what-if", content=_encoded(events), type_=BATCH)
        impact: dict[str, Any] = self._read(answer)
        return impact

    def get(self, path: str, **query: str | int) -> dict[str, Any]:
        """What the service answers to a read. Raises RefusedError."""
        answer: dict[str, Any] = self._read(self._send("GET", path, query=query))
        return answer

    def get_text(self, path: str, **query: str | int) -> str:
        """What the service answers to a read as text, such as a checkpoint. Raises RefusedError."""
        answer = self._send("GET", path, query=query)
        if not answer.is_success:
            self._read(answer)
        return answer.text

    def pages(self, path: str, **query: str | int) -> Iterator[Any]:
        """Every page of a list, one after the other: objects with `items`, or lists of events.

        A list of events has no end, since more may be recorded: this stops where it is empty.
        """
        answer = self._send("GET", path, query=query)
        while page := self._read(answer):
            yield page
            following = answer.links.get("next")
            if following is None:
                return
            answer = self._send("GET", following["url"])

    def put(self, path: str, body: Mapping[str, Any]) -> dict[str, Any]:
        """Set something, such as a simulated clock. Raises RefusedError."""
        content = _encoded(body)
        answer: dict[str, Any] = self._read(
            self._send("PUT", path, content=content, type_="application/json")
        )
        return answer

    def _send(
        self,
        method: str,
        path: str,
        *,
        query: Mapping[str, str | int] | None = None,
        content: bytes | None = None,
        type_: str | None = None,
    ) -> httpx.Response:
        headers = self._bearer if type_ is None else {**self._bearer, "Content-Type": type_}
        url = httpx.URL(self._url + "/").join(path)
        return self._http.request(method, url, params=query, content=content, headers=headers)

    @staticmethod
    def _read(answer: httpx.Response) -> Any:
        if answer.is_success:
            return json.loads(answer.content)
        try:
            problem = json.loads(answer.content)
        except ValueError:
            problem = {"title": answer.reason_phrase, "detail": answer.text[:200]}
        raise RefusedError(answer.status_code, problem)

    def close(self) -> None:
        """End the connection, unless it is shared."""
        if self._own:
            self._http.close()

    def __enter__(self) -> "Client":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _encoded(value: object) -> bytes:
    """A value as JSON. Dates and instants are written as RFC 3339 has them.

    Raises TypeError for what JSON has no form of, and ValueError for NaN and the infinities.
    """
    return json.dumps(value, default=_as_json, allow_nan=False).encode()


def _as_json(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    raise TypeError(f"{value!r} cannot be written as JSON")
