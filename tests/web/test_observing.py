"""Traces, log lines and metrics."""

import json
import logging
import os
import shutil
import signal
from pathlib import Path
from typing import NoReturn

import httpx
import pytest
from prometheus_client import values
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from service.web.observing import refusal_counter, trace_of
from tests.serving import Service, data_folder, memory_disk
from tests.waiting import wait_until

from .conftest import Clients

# W3C Trace Context, section 3.2.3: the example of the specification
PARENT = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"


@pytest.mark.parametrize(
    "parent",
    [
        "",
        "00-00000000000000000000000000000000-b7ad6b7169203331-01",
        "00-0af7651916cd43dd8448eb211c80319c-0000000000000000-01",
        "ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
        "00-0AF7651916CD43DD8448EB211C80319C-b7ad6b7169203331-01",
        PARENT + "x",
        "x" + PARENT,
    ],
)
def test_a_faulty_parent_begins_a_new_trace(parent: str) -> None:
    one, other = trace_of(parent), trace_of(parent)
    assert len(one) == 32
    assert one != other


def test_a_parent_is_kept_also_of_a_later_version() -> None:
    assert trace_of(PARENT) == "0af7651916cd43dd8448eb211c80319c"
    assert trace_of("01" + PARENT[2:] + "-more") == "0af7651916cd43dd8448eb211c80319c"


def test_each_request_is_one_line_with_its_trace(
    client_of: Clients, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "retake_ledger.access"):
        client_of("auditor").get("/events/1?secret=swordfish", headers={"traceparent": PARENT})
        client_of().get("/nowhere/swordfish")
    lines = [json.loads(record.getMessage()) for record in caplog.records]
    assert [line["status"] for line in lines] == [400, 404]
    assert lines[0]["trace"] == "0af7651916cd43dd8448eb211c80319c"
    assert lines[0]["route"] == "/events/<int:position>"
    assert lines[0]["studio"] == "lantern"
    assert lines[0]["took_us"] >= 0
    assert (lines[1]["route"], "studio" in lines[1]) == ("none", False)
    assert "swordfish" not in caplog.text


def samples(client_of: Clients) -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
    answer = client_of().get("/metrics")
    assert answer.content_type.startswith("application/openmetrics-text")
    parsed = text_string_to_metric_families(answer.text)  # type: ignore[no-untyped-call]  # the library's
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in parsed
        for sample in family.samples
    }


def test_metrics_count_requests_and_recorded_events(client_of: Clients) -> None:
    note = {
        "specversion": "1.0",
        "id": "n1",
        "source": "//lantern/x",
        "type": "visit.put-first",
        "subject": "LANTERN-104/42",
        "time": "2031-03-04T09:30:00Z",
        "data": {"department": "layout"},
    }
    for _ in range(2):
        client_of("supervisor").post(
            "/events", data=json.dumps(note), content_type="application/cloudevents+json"
        )
    client_of().open("/events", method="BREW")
    found = samples(client_of)
    assert found["retake_ledger_events_appended_total", frozenset()] == 1
    labels = {"route": "/events", "method": "POST"}
    for status in ("200", "201"):
        key = frozenset((labels | {"status": status}).items())
        assert found["retake_ledger_requests_total", key] == 1
    duration = "retake_ledger_request_duration_seconds_count"
    assert found[duration, frozenset(labels.items())] == 2
    methods = {dict(labels).get("method") for _, labels in found}
    assert "BREW" not in methods


def test_workers_that_share_a_folder_are_counted_together(
    client_of: Clients, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path))
    made = values.MultiProcessValue(lambda: 4711)  # type: ignore[no-untyped-call]  # the library's
    other = made("counter", "worker", "worker_total", (), (), "Another worker's.")
    other.inc(3)
    assert samples(client_of)["worker_total", frozenset()] == 3


def test_what_was_refused_before_the_app_is_counted_and_logged(
    client_of: Clients, caplog: pytest.LogCaptureFixture
) -> None:
    count = refusal_counter(client_of().application)
    with caplog.at_level(logging.INFO, "retake_ledger.access"):
        count(431)
        count(431)
    lines = [json.loads(record.getMessage()) for record in caplog.records]
    assert lines == [{"route": "none", "status": 431}] * 2
    key = frozenset({"route": "none", "method": "other", "status": "431"}.items())
    assert samples(client_of)["retake_ledger_requests_total", key] == 2


def test_what_cannot_be_counted_fails_no_request(
    client_of: Clients, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: str) -> NoReturn:
        raise FileNotFoundError("of-metrics/counter_1.db")

    client = client_of("auditor")
    metrics = client.application.extensions["retake-ledger-metrics"]
    for counted in (metrics.requests, metrics.duration_s):
        monkeypatch.setattr(counted, "labels", gone)
    with caplog.at_level(logging.WARNING, "retake_ledger.access"):
        assert [client.get("/clock").status_code for _ in range(2)] == [200, 200]
        refusal_counter(client.application)(408)
    assert caplog.text.count("counter_1.db") == 1


ANSWERS = {
    "/ready": 200, "/live": 200, "/metrics": 200, "/openapi.json": 200,
    "/nowhere": 404, "/episodes": 401,
}  # fmt: skip


def test_without_the_folder_of_metrics_requests_are_answered() -> None:
    """Who tidies up may remove it, and so does the command that ends before its workers.

    Workers that are started later do not fail for it either: gunicorn would end the service.
    """
    with data_folder(memory_disk()) as data:
        service = Service(data, workers=1, environ={"TMPDIR": str(data.parent)})
        service.start()
        service.wait_until_ready()
        try:
            (folder,) = data.parent.glob("rl-metrics-*")
            shutil.rmtree(folder)
            assert statuses_of(service) == ANSWERS
            before = set(service.child_pids())
            for pid in before:
                os.kill(pid, signal.SIGKILL)
            wait_until(lambda: not before & set(service.child_pids()), "a worker was not ended")
            service.wait_until_ready()
            assert statuses_of(service) == ANSWERS
        finally:
            service.kill()


def statuses_of(service: Service) -> dict[str, int]:
    return {path: httpx.get(f"{service.url}{path}").status_code for path in ANSWERS}


def test_figures_whose_folder_goes_while_they_are_read_are_those_of_this_worker(
    client_of: Clients, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of()
    client.get("/live")
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path / "gone"))
    assert client.get("/ready").status_code == 200
    assert b"retake_ledger_requests_total" in client.get("/metrics").data
