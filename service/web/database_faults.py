"""What is answered where the database cannot do what a request needs."""

import logging

import psycopg
from flask import Flask, g
from psycopg import errors
from sqlalchemy import exc

from service.log.embedded import EmbeddedServerError
from service.web import observing
from service.web.problems import Problem

_log = logging.getLogger("retake_ledger.web")

RETRY = "Nothing of this request was recorded. It can be sent again: an event is recorded once."
DISK_FULL = "The disk of the database is full."
_BUSY = "All connections to the database are in use."
_CANNOT = "The database cannot be reached. What was posted can be posted again."
_SAID: tuple[tuple[type[psycopg.Error], str, int], ...] = (
    (errors.DiskFull, f"{DISK_FULL} {RETRY}", 30),
    (errors.LockNotAvailable, f"Another transaction has held a lock for too long. {RETRY}", 5),
    (errors.QueryCanceled, f"The database took too long for a statement. {RETRY}", 10),
    (
        errors.IdleInTransactionSessionTimeout,
        f"The service left the database waiting for too long. {RETRY}",
        5,
    ),
)


FAULTS = (
    exc.OperationalError,
    exc.InterfaceError,
    exc.InternalError,
    exc.TimeoutError,
    psycopg.OperationalError,
    EmbeddedServerError,
)
"""What is raised where the database cannot do what is asked of it, or cannot be had."""


def install(app: Flask) -> None:
    """Let an app answer what the database cannot do with 503, and remember a full disk."""
    for fault in FAULTS:
        app.register_error_handler(fault, lambda error: problem_of(error).respond())


def problem_of(error: Exception) -> Problem:
    """What is answered to a fault of the database; it is logged, and a full disk remembered."""
    # what the driver says may name hosts and users, so it goes to the log alone
    _log.error("the database failed a request", exc_info=error, extra={"trace": g.get("trace")})
    detail, retry_s = said_of(error)
    if is_full(error):
        observing.metrics().disk_full.set_to_current_time()
    return Problem("unavailable", detail, headers={"Retry-After": str(retry_s)})


def said_of(error: Exception) -> tuple[str, int]:
    """What a client is told of a fault of the database, and after how many seconds to come again.

    A connection that was lost may have been lost after a commit: nothing is said of that then.
    """
    if isinstance(error, exc.TimeoutError):
        return f"{_BUSY} {RETRY}", 2
    cause = _cause(error)
    for type_, detail, retry_s in _SAID:
        if isinstance(cause, type_):
            return detail, retry_s
    return _CANNOT, 5


def is_full(error: Exception) -> bool:
    """Whether a fault is that the database has no room to write."""
    return isinstance(_cause(error), errors.DiskFull)


def _cause(error: Exception) -> BaseException:
    return error.orig if isinstance(error, exc.DBAPIError) and error.orig else error
