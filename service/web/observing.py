"""What is seen of the service from outside: traces, one log line a request, and metrics."""

import json
import logging
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from itertools import chain
from typing import NamedTuple, TypeVar, cast

from flask import Flask, Response, current_app, g, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest

_KEY = "retake-ledger-metrics"
_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
# W3C Trace Context, section 3.2: version, trace, parent, flags; zeros alone name nothing
_TRACEPARENT = re.compile(
    r"(?!ff)[0-9a-f]{2}-(?!0{32})([0-9a-f]{32})-(?!0{16})[0-9a-f]{16}-[0-9a-f]{2}(?:-.*)?"
)
_UNROUTED = "none"
FULL_S = 30
"""How long a disk counts as full if nothing is recorded meanwhile.

Nothing may be: who sends requests where the service is ready would never send the post that shows
that there is room again. The next one that finds none begins the time anew. A small write of our
own would show nothing: it may find room where a post does not.
"""
_METHOD_UNTOLD = "other"
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_log = logging.getLogger("retake_ledger.access")
T = TypeVar("T")


class Occurrence:
    """When something last happened in any worker: since the epoch, and by the monotonic clock.

    The first is for whoever reads metrics. The service goes by the second, which all processes of
    a machine share and nobody sets.
    """

    def __init__(self, name: str, what: str, registry: CollectorRegistry) -> None:
        self.monotonic_name = f"{name}_monotonic_seconds"
        self._since_epoch = Gauge(
            f"{name}_seconds", f"{what}, since the epoch; 0 for never.",
            multiprocess_mode="max", registry=registry,
        )  # fmt: skip
        self._monotonic = Gauge(
            self.monotonic_name, f"{what}, by the machine's monotonic clock; 0 for never.",
            multiprocess_mode="max", registry=registry,
        )  # fmt: skip

    def happens(self) -> None:
        """Note that it happens now."""
        self._since_epoch.set_to_current_time()
        self._monotonic.set(time.monotonic())


class Metrics:
    """The metrics of one app."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        labels = ("route", "method", "status")
        self.requests = Counter(
            "retake_ledger_requests", "Requests answered.", labels, registry=self.registry
        )
        self.duration_s = Histogram(
            "retake_ledger_request_duration_seconds",
            "Time from a request to its answer.",
            ("route", "method"),
            registry=self.registry,
        )
        self.unplanned_name = "retake_ledger_studios_without_plan"
        self.unplanned = Gauge(
            self.unplanned_name,
            "Studios of which no plan could be made when one was last asked for.",
            multiprocess_mode="livemax",
            registry=self.registry,
        )
        self.disk_full = Occurrence(
            "retake_ledger_disk_full", "When the database last had no room to write", self.registry
        )
        self.recorded = Occurrence(
            "retake_ledger_recorded", "When something was last recorded", self.registry
        )
        self.appended = Counter(
            "retake_ledger_events_appended", "Events recorded.", registry=self.registry
        )

    def shown(self) -> bytes:
        """The metrics as OpenMetrics text; of all workers while they share a folder."""

        def text(registry: CollectorRegistry) -> bytes:
            made: bytes = generate_latest(registry)  # type: ignore[no-untyped-call]  # the library's
            return made

        return self._of_all(text)

    def values(self) -> dict[str, float]:
        """The metrics without labels by name, likewise."""

        def unlabelled(registry: CollectorRegistry) -> dict[str, float]:
            samples = chain.from_iterable(metric.samples for metric in registry.collect())
            return {sample.name: sample.value for sample in samples if not sample.labels}

        return self._of_all(unlabelled)

    def _of_all(self, read: Callable[[CollectorRegistry], T]) -> T:
        """What is read of all workers' figures; of this one's where their folder is gone."""
        if _FOLDER in os.environ:
            try:
                shared = CollectorRegistry()
                MultiProcessCollector(shared)  # type: ignore[no-untyped-call]  # the library's
                return read(shared)
            except (OSError, ValueError) as error:  # the second is the library's own, of a folder
                _log_once(str(error))
        return read(self.registry)


def metrics() -> Metrics:
    """The metrics of the app that answers."""
    return cast(Metrics, current_app.extensions[_KEY])


@contextmanager
def counting() -> Iterator[None]:
    """Go on where the files of the figures cannot be written; each error is logged once.

    No request fails for it: somebody who tidies up may have removed their folder.
    """
    try:
        yield
    except OSError as error:
        _log_once(str(error))


@cache
def _log_once(reason: str) -> None:
    _log.warning("not everything is counted: %s", reason)


def ensure_folder() -> None:
    """Make the folder that workers share their figures in, where it is gone.

    A worker that begins without it would fail, and gunicorn then ends all of them.
    """
    folder = os.environ.get(_FOLDER)
    if folder is not None and not os.path.isdir(folder):
        _log_once(f"{folder} was removed, and with it what other workers had counted")
        os.makedirs(folder, mode=0o700, exist_ok=True)


def count_appended(events: int) -> None:
    """Count events that were recorded."""
    with counting():
        metrics().appended.inc(events)
        if events:
            metrics().recorded.happens()


class Condition(NamedTuple):
    """What ails a service that answers.

    `studios_without_plan` is of how many studios no plan could be made, as the worker counted that
    has most of them. `disk_full` is whether the database lately had no room for the last thing
    that was to be recorded.
    """

    studios_without_plan: int
    disk_full: bool


def condition(disk_full_s: float) -> Condition:
    """What ails the service; a disk counts as full for `disk_full_s` if nothing is recorded."""
    found, values = metrics(), metrics().values()
    full_at_s = values.get(found.disk_full.monotonic_name, 0.0)
    recorded_at_s = values.get(found.recorded.monotonic_name, 0.0)
    return Condition(
        int(values.get(found.unplanned_name, 0.0)),
        full_at_s > recorded_at_s and time.monotonic() < full_at_s + disk_full_s,
    )


def metrics_response() -> Response:
    """The metrics as an answer."""
    return Response(metrics().shown(), content_type=CONTENT_TYPE_LATEST)


def trace_of(traceparent: str) -> str:
    """The trace that a request belongs to, or a new one."""
    found = _TRACEPARENT.fullmatch(traceparent)
    return found[1] if found else os.urandom(16).hex()


def count_from_zero(app: Flask) -> None:
    """Give an app metrics in which nothing is counted yet."""
    app.extensions[_KEY] = Metrics()


def install(app: Flask) -> None:
    """Trace, count and log every request of an app."""
    count_from_zero(app)

    @app.before_request
    def begin() -> None:
        g.began_at_ns = time.monotonic_ns()
        g.trace = trace_of(request.headers.get("traceparent", ""))

    @app.after_request
    def end(answer: Response) -> Response:
        took_us = (time.monotonic_ns() - g.began_at_ns) // 1000
        # the rule, not the address: its arguments would make a series each
        route = request.url_rule.rule if request.url_rule else _UNROUTED
        method = request.method if request.method in _METHODS else _METHOD_UNTOLD
        with counting():
            metrics().requests.labels(route, method, str(answer.status_code)).inc()
            metrics().duration_s.labels(route, method).observe(took_us / 1e6)
        if _log.isEnabledFor(logging.INFO):
            _log.info("%s", _line(answer, route, method, took_us))
        if g.get("token") is not None:
            answer.headers.setdefault("Cache-Control", "private, no-cache")
            answer.vary.add("Authorization")
        answer.headers["X-Content-Type-Options"] = "nosniff"
        return answer


def refusal_counter(app: Flask) -> Callable[[int], None]:
    """What counts and logs an answer, by its status, that was given before an app saw a request."""
    counted = cast(Metrics, app.extensions[_KEY])

    def count(status: int) -> None:
        with counting():
            counted.requests.labels(_UNROUTED, _METHOD_UNTOLD, str(status)).inc()
        if _log.isEnabledFor(logging.INFO):
            _log.info("%s", json.dumps({"route": _UNROUTED, "status": status}))

    return count


def _line(answer: Response, route: str, method: str, took_us: int) -> str:
    line: dict[str, object] = {
        "trace": g.trace,
        "method": method,
        "route": route,
        "status": answer.status_code,
        "took_us": took_us,
        "bytes": answer.calculate_content_length(),
    }
    token = g.get("token")
    if token is not None:
        line |= {"studio": token.studio, "token": token.token_id}
    return json.dumps(line)
