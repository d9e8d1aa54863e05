"""Events over HTTP: what is recorded, what is refused, what is read back and by whom."""

import json
from typing import Any

import pytest
from sqlalchemy import Engine
from werkzeug.test import TestResponse

from service.log.append import read_head
from service.production.marks import LATE
from service.production.refusal import Code, Reason, Refusal
from tests.examples import example_event

from ..conftest import Clients
from ..fakes import PlainRecorder
from ..provided import provide_with

EVENT = "application/cloudevents+json"
BATCH = "application/cloudevents-batch+json"


def note(id_: str = "n1", **changed: Any) -> dict[str, Any]:
    return {
        "specversion": "1.0",
        "id": id_,
        "source": "//lantern/supervision",
        "type": "note.given",
        "subject": "LANTERN-104/42",
        "time": "2031-03-04T09:30:00Z",
        "data": {"note": "N1", "to": "layout", "text": "Lamp is left."},
        **changed,
    }


def hand_off(id_: str, department: str, **changed: Any) -> dict[str, Any]:
    return (
        note(id_, type="hand-off.made", data={"department": department, "mood": "good"}) | changed
    )


def post(clients: Clients, body: object, who: str = "supervisor") -> TestResponse:
    raw = body if isinstance(body, bytes) else json.dumps(body).encode()
    batch = isinstance(body, list) or (isinstance(body, bytes) and body[:1] == b"[")
    return clients(who).post("/events", data=raw, content_type=BATCH if batch else EVENT)


def refused(answer: TestResponse, status: int, name: str) -> list[tuple[str, str]]:
    assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
    body = answer.get_json()
    assert body["type"] == f"/problems/{name}"
    return [(error["pointer"], error["code"]) for error in body.get("errors", [])]


def nothing_recorded(engine: Engine, recorder: PlainRecorder) -> None:
    assert recorder.given == []
    with engine.connect() as connection:
        assert read_head(connection, "lantern").position == 0


def test_one_event_is_recorded_and_found_at_its_location(
    client_of: Clients, recorder: PlainRecorder
) -> None:
    answer = post(client_of, note())
    assert answer.status_code == 201
    assert answer.get_json() == {
        "receipts": [
            {
                "source": "//lantern/supervision",
                "id": "n1",
                "position": 1,
                "recordedat": "2031-03-04T12:00:00Z",
                "repeated": False,
                "marks": [LATE],
                "struck_at": None,
                "kept_aside": [],
            }
        ]
    }
    (proposal,) = recorder.given
    assert proposal.personal == b'{"/data/text":"Lamp is left."}'
    assert (type(proposal.fact).__name__, proposal.fact.note) == ("NoteGiven", "N1")  # type: ignore[attr-defined]  # it is a NoteGiven
    found = client_of("auditor").get(answer.headers["Location"])
    assert found.content_type == EVENT
    shown = found.get_json(force=True)
    assert shown | note() == shown
    assert (shown["position"], shown["recordedat"]) == (1, "2031-03-04T12:00:00Z")


def test_a_batch_is_recorded_in_order_and_repeats_are_marked(client_of: Clients) -> None:
    first = post(client_of, [note("a"), note("b")])
    assert first.status_code == 201
    assert "Location" not in first.headers
    again = post(client_of, [note("b"), note("c")])
    assert again.status_code == 201
    receipts = [(r["id"], r["position"], r["repeated"]) for r in again.get_json()["receipts"]]
    assert receipts == [("b", 2, True), ("c", 3, False)]
    assert post(client_of, [note("a"), note("b")]).status_code == 200
    repeat = post(client_of, note("a"))
    assert (repeat.status_code, "Location" in repeat.headers) == (200, False)
    empty = post(client_of, [])
    assert (empty.status_code, empty.get_json()) == (200, {"receipts": []})


@pytest.mark.parametrize(
    ("raw", "pointer", "code"),
    [
        (b'{"id": "a", "id": "b"}', "/id", "duplicate-name"),
        (b'[{}, {"data": {"a": NaN}}]', "/1/data/a", "not-a-number"),
        (b'{"data": {"a": "\\u0000"}}', "/data/a", "nul-character"),
        (b'{"id": "\\ud800"}', "/id", "lone-surrogate"),
        (b'{"position": 9007199254740993}', "/position", "number-out-of-range"),
        (b'{"data": ' + b"[" * 33 + b"]" * 33 + b"}", "/data" + "/0" * 31, "too-deep"),
        (b"[" * 90_000, "", "too-deep"),
    ],
)
def test_json_that_cannot_be_taken_is_a_problem_with_its_place(
    client_of: Clients,
    recorder: PlainRecorder,
    engine: Engine,
    raw: bytes,
    pointer: str,
    code: str,
) -> None:
    assert refused(post(client_of, raw), 400, "malformed-json")[0] == (pointer, code)
    nothing_recorded(engine, recorder)


@pytest.mark.parametrize("raw", [b"", b"{", b"\xff", b"nul", b'{"a":1} {}', b"\xef\xbb\xbf{}"])
def test_what_is_not_json_is_a_problem(
    client_of: Clients, recorder: PlainRecorder, engine: Engine, raw: bytes
) -> None:
    refused(post(client_of, raw), 400, "malformed-json")
    nothing_recorded(engine, recorder)


def test_what_is_too_large_is_a_problem(
    client_of: Clients, recorder: PlainRecorder, engine: Engine
) -> None:
    refused(post(client_of, b" " * 200_001), 413, "too-large")
    refused(post(client_of, [note(str(number)) for number in range(21)]), 413, "too-large")
    nothing_recorded(engine, recorder)


def test_every_error_of_a_batch_is_reported_with_its_place(
    client_of: Clients, recorder: PlainRecorder, engine: Engine
) -> None:
    wrong = [
        note("a"),
        7,
        note("b", data={"note": "N1", "to": "Layout"}),
        note("c", subject="nowhere", time="yesterday", type="note.given"),
    ]
    assert refused(post(client_of, wrong), 422, "invalid-event") == [
        ("/1", "not-an-object"),
        ("/2/data/to", "wrong-form"),
        ("/2/data/text", "missing"),
        ("/3/time", "not-an-instant"),
        ("/3/subject", "not-a-subject"),
    ]
    nothing_recorded(engine, recorder)


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"specversion": "0.3"}, "/specversion"),
        ({"id": ""}, "/id"),
        ({"type": "note.sung"}, "/type"),
        ({"subject": "LANTERN"}, "/subject"),
        ({"time": "2031-03-04T09:30:00"}, "/time"),
        ({"time": "9999-12-31T23:59:59-23:59"}, "/time"),
        ({"data": None}, "/data"),
        ({"data": {"note": None, "to": "layout", "text": "x"}}, "/data/note"),
        ({"data": {"note": "N1", "to": "layout", "text": "x", "more": [None]}}, "/data/more/0"),
        ({"position": 1}, "/position"),
        ({"poster": "me"}, "/poster"),
        ({"Big": "x"}, "/Big"),
        ({"colour": 1.5}, "/colour"),
    ],
)
def test_a_wrong_member_is_a_problem_with_its_place(
    client_of: Clients,
    recorder: PlainRecorder,
    engine: Engine,
    changed: dict[str, Any],
    pointer: str,
) -> None:
    errors = refused(post(client_of, note(**changed)), 422, "invalid-event")
    assert [place for place, _ in errors] == [pointer]
    nothing_recorded(engine, recorder)


def test_a_batch_in_structured_mode_and_the_reverse_are_problems(client_of: Clients) -> None:
    client = client_of("supervisor")
    as_one = client.post("/events", data=json.dumps([note()]), content_type=EVENT)
    assert refused(as_one, 422, "invalid-event") == [("", "not-an-object")]
    assert BATCH in as_one.get_json()["errors"][0]["detail"]
    as_batch = client.post("/events", data=json.dumps(note()), content_type=BATCH)
    assert refused(as_batch, 422, "invalid-event") == [("", "not-a-list")]


def test_a_foreign_source_is_refused_before_anything(
    client_of: Clients, recorder: PlainRecorder, engine: Engine
) -> None:
    posted = [note("a", source="//lantern/layout/7"), {"source": "//lantern/camera", "id": ""}]
    answer = post(client_of, posted, "layout")
    assert refused(answer, 403, "source-not-owned") == [("/1/source", "source-not-owned")]
    assert "//lantern/layout" in answer.get_json()["detail"]
    nothing_recorded(engine, recorder)


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"data": {"other": "x" * 70_000}}, "/1/data/other"),
        ({"data": {"other": {"a": ["y"] * 20_000}, "more": "z" * 100}}, "/1/data/other"),
        ({"colour": "x" * 70_000}, "/1/colour"),
        ({"data": {f"m{place}": "x" * 4000 for place in range(20)}}, "/1/data/m0"),
    ],
)
def test_more_personal_text_than_is_kept_of_an_event_is_refused(
    more: dict[str, Any],
    pointer: str,
    client_of: Clients,
    recorder: PlainRecorder,
    engine: Engine,
) -> None:
    long = note("b")
    long = {**long, **more, "data": {**long["data"], **more.get("data", {})}}
    answer = post(client_of, [note("a"), long])
    assert refused(answer, 422, "invalid-event") == [(pointer, "text-too-long")]
    assert "at most 65536" in answer.get_json()["errors"][0]["detail"]
    nothing_recorded(engine, recorder)


def test_as_much_personal_text_as_is_kept_is_recorded(client_of: Clients) -> None:
    room = 64 * 1024 - len('{"/data/other":"","/data/text":""}') - len(note("a")["data"]["text"])
    fits = note("a")
    fits["data"]["other"] = "x" * room
    assert post(client_of, [fits]).status_code == 201
    fits = note("b")
    fits["data"]["other"] = "x" * (room + 1)
    assert post(client_of, [fits]).status_code == 422


def test_an_answer_lists_a_thousand_errors_at_most(client_of: Clients) -> None:
    nulls = {str(place): None for place in range(100)}
    answer = post(client_of, [note(f"n{number}", data=nulls) for number in range(20)])
    assert len(refused(answer, 422, "invalid-event")) == 1000
    assert "1000, or more" in answer.get_json()["detail"]


def test_a_page_is_shorter_where_its_events_are_long(client_of: Clients) -> None:
    provide_with(client_of.app, page_bytes_max=5000)
    lengths = [10, 2000, 2000, 10, 9000, 10, 10]
    for number, length in enumerate(lengths):
        long = note(f"n{number}")
        long["data"]["other"] = "x" * length
        assert post(client_of, [long]).status_code == 201
    pages, path = [], "/events?limit=3"
    while shown := json.loads((answer := client_of("auditor").get(path)).get_data()):
        pages.append([event["position"] for event in shown])
        path = answer.headers["Link"][1:].partition(">")[0]
    assert pages == [[1, 2], [3, 4], [5], [6, 7]]


@pytest.mark.parametrize(
    "source",
    ["//lantern/layout-night", "//lantern/layout/../camera", "//lantern/layout/%2e./camera"],
)
def test_a_source_that_only_looks_like_the_own_is_foreign(
    source: str, client_of: Clients, recorder: PlainRecorder, engine: Engine
) -> None:
    answer = post(client_of, [note("a", source=source)], "layout")
    assert refused(answer, 403, "source-not-owned") == [("/0/source", "source-not-owned")]
    nothing_recorded(engine, recorder)


@pytest.mark.parametrize(
    ("codes", "status", "name"),
    [
        ([Code.UNKNOWN, Code.NOT_ON_ROUTE], 422, "contradiction"),
        ([Code.UNKNOWN, Code.FORBIDDEN, Code.ID_REUSED], 403, "forbidden"),
        ([Code.ILLEGAL_MOVE, Code.ID_REUSED], 409, "id-reused"),
        ([Code.IN_FUTURE], 422, "contradiction"),
        ([Code.STRIKE_BREAKS], 422, "contradiction"),
    ],
)
def test_a_refusal_is_a_problem_with_every_reason(
    client_of: Clients, recorder: PlainRecorder, codes: list[Code], status: int, name: str
) -> None:
    recorder.refusal = Refusal(
        tuple(Reason(code, f"No: {code}.", "/data/to", at) for at, code in enumerate(codes))
    )
    batch = post(client_of, [note("a"), note("b"), note("c")])
    assert refused(batch, status, name) == [
        (f"/{at}/data/to", str(code)) for at, code in enumerate(codes)
    ]
    recorder.refusal = Refusal((Reason(codes[0], "No."),))
    one = post(client_of, note())
    assert [error["pointer"] for error in one.get_json()["errors"]] == [""]


def test_a_fault_while_recording_does_not_leak(
    client_of: Clients, recorder: PlainRecorder, caplog: pytest.LogCaptureFixture
) -> None:
    recorder.fault = RuntimeError("swordfish")
    answer = post(client_of, note())
    refused(answer, 500, "internal-error")
    assert "swordfish" not in answer.text
    assert answer.get_json()["trace"]
    assert "swordfish" in caplog.text


def fill(clients: Clients) -> None:
    posted = [
        note("a"),
        hand_off("b", "layout"),
        hand_off("c", "camera", subject="LANTERN-105/1", time="2031-03-04T10:00:00Z"),
        hand_off("d", "layout", subject="OTTER-1/1", time="2031-03-04T11:00:00Z"),
    ]
    assert post(clients, posted).status_code == 201


def ids(answer: TestResponse) -> list[str]:
    assert (answer.status_code, answer.content_type) == (200, BATCH)
    return [event["id"] for event in json.loads(answer.data)]


def next_of(answer: TestResponse) -> str:
    address, _, relation = answer.headers["Link"].partition("; ")
    assert relation == 'rel="next"'
    return address.strip("<>")


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", "abcd"),
        ("?subject=LANTERN", "abc"),
        ("?subject=LANTERN-104", "ab"),
        ("?subject=LANTERN-104/42", "ab"),
        ("?type=hand-off.made", "bcd"),
        ("?department=layout", "bd"),
        ("?from=2031-03-04T10:00:00Z", "cd"),
        ("?until=2031-03-04T12:00:00%2B02:00", "abc"),
        ("?type=hand-off.made&department=layout&subject=OTTER", "d"),
        ("?limit=2", "ab"),
    ],
)
def test_events_are_listed_by_position_and_filtered(
    client_of: Clients, query: str, found: str
) -> None:
    fill(client_of)
    assert ids(client_of("auditor").get("/events" + query)) == list(found)


def test_pages_follow_each_other_and_the_last_can_be_resumed(client_of: Clients) -> None:
    fill(client_of)
    client = client_of("auditor")
    first = client.get("/events?limit=2&type=hand-off.made&until=2031-03-05T00:00:00%2B01:00")
    assert ids(first) == ["b", "c"]
    second = client.get(next_of(first))
    assert ids(second) == ["d"]
    third = client.get(next_of(second))
    assert ids(third) == []
    assert next_of(third) == next_of(second)
    post(client_of, [note("e"), hand_off("f", "camera")])
    assert ids(client.get(next_of(third))) == ["f"]


@pytest.mark.parametrize(
    ("query", "argument", "code"),
    [
        ("colour=red", "?colour", "unknown-argument"),
        ("access_token=rl_x", "?access_token", "unknown-argument"),
        ("limit=0", "?limit", "not-a-whole"),
        ("limit=1001", "?limit", "not-a-whole"),
        ("limit=1_0", "?limit", "not-a-whole"),
        ("limit=%D9%A3", "?limit", "not-a-whole"),
        ("limit=1&limit=2", "?limit", "duplicate-name"),
        ("subject=lantern", "?subject", "not-a-subject"),
        ("subject=A%00", "?subject", "not-text"),
        ("subject=%FF", "?subject", "not-a-subject"),
        ("type=note.sung", "?type", "unknown-type"),
        ("department=A%20B", "?department", "wrong-form"),
        ("from=yesterday", "?from", "not-an-instant"),
        ("until=9999-12-31T23:59:59-23:59", "?until", "not-an-instant"),
        ("cursor=", "?cursor", "wrong-cursor"),
        ("cursor=WzFd", "?cursor", "wrong-cursor"),
        ("cursor=%E2%82%AC", "?cursor", "wrong-cursor"),
        ("cursor=" + "W" * 4000, "?cursor", "wrong-cursor"),
    ],
)
def test_a_wrong_argument_is_a_problem_that_names_it(
    client_of: Clients, query: str, argument: str, code: str
) -> None:
    answer = client_of("auditor").get(f"/events?{query}")
    assert refused(answer, 400, "invalid-query") == [(argument, code)]


def test_a_cursor_of_another_query_or_with_a_letter_changed_is_a_problem(
    client_of: Clients,
) -> None:
    fill(client_of)
    client = client_of("auditor")
    following = next_of(client.get("/events?limit=1"))
    cursor = following.partition("cursor=")[2]
    refused(client.get(f"/events?department=layout&cursor={cursor}"), 400, "invalid-query")
    for place in range(len(cursor)):
        changed = cursor[:place] + ("A" if cursor[place] != "A" else "B") + cursor[place + 1 :]
        refused(client.get(f"/events?cursor={changed}"), 400, "invalid-query")
    assert ids(client.get(f"/events?cursor={cursor}&limit=2")) == ["b", "c"]


def texts(clients: Clients, who: str) -> dict[str, bool]:
    events = json.loads(clients(who).get("/events").data)
    for event in events:
        assert event["personal"]
    return {event["id"]: "text" in event["data"] or "mood" in event["data"] for event in events}


def test_personal_text_is_shown_to_those_who_may_see_it(client_of: Clients) -> None:
    fill(client_of)
    everything = {"a": True, "b": True, "c": True, "d": True}
    for who in ("office", "supervisor", "producer", "auditor"):
        assert texts(client_of, who) == everything
    assert texts(client_of, "layout") == {"a": True, "b": True, "c": False, "d": True}
    assert texts(client_of, "camera") == {"a": True, "b": False, "c": True, "d": False}
    assert "mood" in client_of("camera").get("/events/3").get_json(force=True)["data"]
    assert "mood" not in client_of("layout").get("/events/3").get_json(force=True)["data"]


def test_an_unchanged_answer_is_not_sent_again(client_of: Clients) -> None:
    fill(client_of)
    client = client_of("layout")
    for address in ("/events", "/events/3"):
        first = client.get(address)
        tag = first.headers["ETag"]
        assert "Authorization" in first.headers["Vary"]
        assert first.headers["Cache-Control"] == "private, no-cache"
        again = client.get(address, headers={"If-None-Match": tag})
        assert (again.status_code, again.data) == (304, b"")
        other = client_of("camera").get(address, headers={"If-None-Match": tag})
        assert other.status_code == 200
    tag = client.get("/events").headers["ETag"]
    post(client_of, note("e"))
    assert client.get("/events", headers={"If-None-Match": tag}).status_code == 200


@pytest.mark.parametrize("position", ["0", "9", "9007199254740993", "9" * 40, "-1", "x", "1/2"])
def test_a_position_without_an_event_is_not_found(client_of: Clients, position: str) -> None:
    fill(client_of)
    refused(client_of("auditor").get(f"/events/{position}"), 404, "not-found")


def test_every_example_can_be_posted(client_of: Clients) -> None:
    from service.vocabulary.facts import CATALOGUE

    for type_ in CATALOGUE:
        event = example_event(type_)
        assert post(client_of, event).status_code == 201
        position = json.loads(post(client_of, event).data)["receipts"][0]["position"]
        shown = client_of("auditor").get(f"/events/{position}").get_json(force=True)
        assert shown["data"] == event["data"]
