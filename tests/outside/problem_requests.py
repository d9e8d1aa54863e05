"""Requests that are answered with problems: one or more for every type that the service gives."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import create_engine

from service.client import event
from service.record import Studios
from service.settings import Settings
from service.web.app import create_app

from .small_studio import NOW, SmallStudio

EVENT = "application/cloudevents+json"
BATCH = "application/cloudevents-batch+json"
JSON = "application/json"


@dataclass(frozen=True)
class Request:
    """A request that is answered with a problem of a type; `holder` None shows no token."""

    name: str
    method: str
    path: str
    body: object = None
    raw: bytes | None = None
    kind: str = EVENT
    holder: str | None = "supervisor"
    headers: Mapping[str, str] = field(default_factory=dict)

    def content(self) -> bytes | None:
        """What is sent."""
        return json.dumps(self.body).encode() if self.body is not None else self.raw


@dataclass(frozen=True)
class Answered:
    """A request and its answer."""

    request: Request
    answer: httpx.Response

    @property
    def problem(self) -> dict[str, Any]:
        """The body of the answer."""
        shown: dict[str, Any] = self.answer.json()
        return shown


def _fact(type_: str, subject: str, data: object = None, **changed: object) -> dict[str, Any]:
    made = event("/desk", type_, subject, {}, time=NOW, id="problem")
    return {**made, "data": {} if data is None else data, **changed}


# of a show without a rate card: it cannot be quoted
ORDER = _fact(
    "change-order.raised",
    "KESTREL-1",
    {"order": "CO-1", "asked_by": "client", "words": "A longer goodbye.", "lines": []},
    id="ordered",
)
_NOTE = _fact("note.given", "KESTREL-1/1", {"note": "N-9", "to": "layout", "text": "Higher."})
WRONG = _fact(
    "route.laid",
    "KESTREL-1",
    {
        "departments": [
            {"department": "A b", "grain": "reel", "unit": "feet", "least": 2},
            {"department": "b", "grain": "scene", "follows": [{"department": "a"}]},
        ],
        "gates": "none",
        "a/b": None,
        "m~n": {"%25": None, "": [None]},
    },
    time="yesterday",
    colour={"r": 1},
)
_SCENES = _fact(
    "scene.listed", "KESTREL-1/9", {"frames": 1.5, "work": {"Lay out": 1, "a/b": "x", "camera": -1}}
)
_LISTED = _fact("scene.listed", "KESTREL-1/9", {"frames": 9}, id="listed")
_CALL = {"retake": "R-1", "kind": "retake", "urgency": "must-fix", "back_to": "nowhere"}
_RETAKE = _fact(
    "retake.called",
    "KESTREL-1/1",
    {
        **_CALL,
        "strands": ["sound"],
        "items": ["KESTREL-1/77", "KESTREL-2/1"],
        "dependents": [{"scene": "KESTREL-1/88", "mark": "redo"}],
        "share": 0.1,
        "drawings": 2,
    },
)
_DOUBLED = b'{"id": "a", "data": {"x": [{"y": 1, "y": 2}], "z": "\\u0000", "w": NaN}}'
_DEEP = b'[{"a~b":%s}]' % (b'{"a/b":' * 40 + b"1" + b"}" * 40)

_SEVERAL = [_NOTE, _SCENES, 7, {}]
_PACKED = {"Content-Encoding": "gzip"}

REQUESTS: tuple[Request, ...] = (
    Request("malformed-json", "POST", "/events", raw=b'{"id": '),
    Request("malformed-json", "POST", "/events", raw=b"\xff"),
    Request("malformed-json", "POST", "/events", raw=_DOUBLED),
    Request("malformed-json", "POST", "/events", raw=_DEEP, kind=BATCH),
    Request("malformed-json", "PUT", "/clock", raw=b"{", kind=JSON, holder="office"),
    Request("invalid-query", "GET", "/shows?limit=0&limit=1&colour=red&cursor=x"),
    Request("invalid-query", "GET", "/episodes/KESTREL-1/replay?position=1&at=" + NOW),
    Request("no-token", "GET", "/shows", holder=None),
    Request("no-token", "GET", "/shows", holder=None, headers={"Authorization": "Basic YTpi"}),
    Request("invalid-token", "GET", "/shows", holder=None, headers={"Authorization": "Bearer x"}),
    Request("insufficient-scope", "POST", "/what-if", body=_NOTE, holder="layout"),
    Request("insufficient-scope", "PUT", "/clock", body={"now": NOW}, holder="auditor"),
    Request("source-not-owned", "POST", "/events", body=[_NOTE | {"source": "urn:else"}],
            kind=BATCH),
    Request("forbidden", "POST", "/events", body=_NOTE, holder="auditor"),
    Request("forbidden", "POST", "/events", body=[_NOTE, _LISTED], kind=BATCH),
    Request("not-found", "GET", "/nowhere"),
    Request("not-found", "GET", "/episodes/KESTREL-99"),
    Request("not-found", "GET", "/episodes/%FF%00"),
    Request("not-found", "GET", "/problems/nothing", holder=None),
    Request("method-not-allowed", "DELETE", "/events"),
    Request("method-not-allowed", "POST", "/episodes/KESTREL-1", body={}),
    Request("method-not-allowed", "DELETE", "/live", holder=None),
    Request("id-reused", "POST", "/events", body=_NOTE | {"id": "story-0"}),
    Request("clock-refused", "PUT", "/clock", body={"now": "2031-01-01T00:00:00Z"},
            kind=JSON, holder="office"),
    Request("too-large", "POST", "/events", raw=b" " * (4 * 1024 * 1024 + 1)),
    Request("too-large", "POST", "/events", body=[{}] * 1001, kind=BATCH),
    Request("unsupported-media-type", "POST", "/events", body=_NOTE, kind=JSON),
    Request("unsupported-media-type", "POST", "/events", body=_NOTE,
            kind=EVENT + "; charset=utf-16"),
    Request("unsupported-media-type", "POST", "/events", raw=b"x", headers=_PACKED),
    Request("unsupported-media-type", "PUT", "/clock", body={}, kind=EVENT, holder="office"),
    Request("invalid-event", "POST", "/events", body=WRONG),
    Request("invalid-event", "POST", "/events", body=_SEVERAL, kind=BATCH, holder="office"),
    Request("invalid-event", "POST", "/events", body={}, kind=BATCH),
    Request("invalid-event", "POST", "/what-if", body="text"),
    Request("invalid-event", "PUT", "/clock", body={"then": 1}, kind=JSON, holder="office"),
    Request("contradiction", "POST", "/events", body=_RETAKE),
    Request("contradiction", "POST", "/what-if", body=[_NOTE, _RETAKE], kind=BATCH),
    Request("not-acceptable", "GET", "/reports/retakes", headers={"Accept": "image/png"}),
    Request("no-quote", "GET", "/change-orders/CO-1/quote"),
    Request("no-quote", "GET", "/change-orders/CO-1/quotation"),
    Request("not-yet", "GET", "/shows?min_position=9999"),
)  # fmt: skip


def ask(studio: SmallStudio, request: Request) -> httpx.Response:
    """The answer of the running service."""
    headers = dict(request.headers)
    if request.holder is not None:
        headers["Authorization"] = f"Bearer {studio.secrets[request.holder]}"
    content = request.content()
    if content is not None:
        headers["Content-Type"] = request.kind
    url = studio.url + request.path
    return httpx.request(request.method, url, content=content, headers=headers, timeout=60)


class _Faulty:
    """An engine with a fault that no request brings about."""

    def connect(self) -> None:
        raise RuntimeError("a fault that nobody expected")


def _broken(engine: object, name: str) -> Answered:
    """What the app answers where its engine is broken: nothing that a request can bring about."""
    settings = Settings(None, None, Path("/nowhere"))
    app = create_app(settings, engine, Studios(engine))  # type: ignore[arg-type]  # on purpose
    got = app.test_client().get("/ready")
    answer = httpx.Response(got.status_code, headers=list(got.headers), content=got.data)
    return Answered(Request(name, "GET", "/ready"), answer)


def all_answers(studio: SmallStudio) -> list[Answered]:
    """The answers to all of them, and those of an app whose database is away or worse."""
    unreachable = create_engine("postgresql+psycopg://nobody@localhost:1/none")
    try:
        return [
            *(Answered(request, ask(studio, request)) for request in REQUESTS),
            _broken(unreachable, "unavailable"),
            _broken(_Faulty(), "internal-error"),
        ]
    finally:
        unreachable.dispose()
