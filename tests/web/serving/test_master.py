"""What a worker is told while it begins reaches it once it can listen."""

import os
import signal
import time

import pytest
from gunicorn.arbiter import Arbiter

from service.web.serving.master import END_SIGNALS, Master

WAITED_S = 10.0
NEVER_TOLD, NOT_DELIVERED = 3, 4


def _begin() -> None:
    """As a worker that has no handlers until somebody told it to end."""
    until = time.monotonic() + WAITED_S
    while not signal.sigpending():
        if time.monotonic() > until:
            os._exit(NEVER_TOLD)
    told: list[int] = []
    for number in END_SIGNALS:
        signal.signal(number, lambda number, _: told.append(number))
    signal.pthread_sigmask(signal.SIG_UNBLOCK, END_SIGNALS)
    os._exit(0 if told else NOT_DELIVERED)


def _forked(_master: Arbiter) -> int:
    pid = os.fork()
    if pid == 0:
        _begin()
    return pid


@pytest.mark.parametrize("number", END_SIGNALS)
def test_a_signal_to_end_waits_until_a_worker_has_handlers(
    number: signal.Signals, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Arbiter, "spawn_worker", _forked)
    pid = object.__new__(Master).spawn_worker()
    os.kill(pid, number)
    _, status = os.waitpid(pid, 0)
    assert os.waitstatus_to_exitcode(status) == 0
    assert not set(END_SIGNALS) & signal.pthread_sigmask(signal.SIG_BLOCK, ())
