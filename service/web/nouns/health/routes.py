"""Whether the service lives and can serve, and its metrics. No token is asked for."""

from typing import Annotated

from flask import Blueprint, Response
from sqlalchemy.exc import DataError, ProgrammingError, SQLAlchemyError

from service.log.migrate import is_up_to_date
from service.log.server_programs import EmbeddedServerError
from service.web import observing
from service.web.answers import Shown, encoded, note
from service.web.database_faults import DISK_FULL, log_and_say
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.problems import ProblemError
from service.web.services import services

health = Blueprint("health", __name__)
_RETRY = {"Retry-After": "5"}


class StateShown(Shown):
    """Whether the service lives, or is ready."""

    state: Annotated[str, note("live or ready.")]


class ReadyShown(StateShown):
    """That the service is ready, and whether anything ails it."""

    studios_without_plan: Annotated[
        int,
        note(
            "Of how many studios no plan could be made when one was last asked for; their records "
            "still answer and posts are taken. More than 0 is a fault to report."
        ),
    ]


@health.get("/live")
@describe(
    "Whether the process answers",
    tag="service",
    answers={200: Answer("Yes.", {JSON: StateShown})},
    lane="probe",
)
def live() -> Response:
    """The process answers; nothing else is looked at."""
    return Response(encoded(StateShown(state="live")), content_type=JSON)


@health.get("/ready")
@describe(
    "Whether the database is reachable, of this release, and has room to write",
    tag="service",
    answers={200: Answer("Yes.", {JSON: ReadyShown})},
    problems=("unavailable",),
    lane="ready",
)
def ready() -> Response:
    """The database answers, has every migration, and had room for what was posted lately."""
    try:
        with services().engine.connect() as connection:
            migrated = is_up_to_date(connection)
    except (DataError, ProgrammingError) as error:
        # without the role or the tables that migrating makes
        log_and_say(error)
        migrated = False
    except (SQLAlchemyError, EmbeddedServerError) as error:
        fault = log_and_say(error)
        raise ProblemError(
            "unavailable",
            f"{fault.what} The service's own log says more.",
            headers={"Retry-After": str(fault.retry_s)},
        ) from None
    if not migrated:
        detail = "The database is not of this release: run `retake-ledger migrate`."
        raise ProblemError("unavailable", detail, headers=_RETRY)
    condition = observing.condition(services().disk_full_s)
    if condition.disk_full:
        raise ProblemError(
            "unavailable",
            f"{DISK_FULL.what} Reads are answered; make room. It counts as full for some seconds "
            "after each post that finds none, or until one is recorded.",
            headers={"Retry-After": str(DISK_FULL.retry_s)},
        )
    shown = ReadyShown(state="ready", studios_without_plan=condition.studios_without_plan)
    return Response(encoded(shown), content_type=JSON)


@health.get("/metrics")
@describe(
    "Metrics of this service",
    tag="service",
    answers={
        200: Answer("OpenMetrics text.", {"application/openmetrics-text": {"type": "string"}})
    },
    lane="probe",
)
def show_metrics() -> Response:
    """Requests, their durations, and events recorded."""
    return observing.metrics_response()
