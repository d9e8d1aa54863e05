"""Signals that end a process, raised as exceptions, so that it ends what it began."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any


@contextmanager
def signals_raised(*, interrupts: bool = False) -> Iterator[None]:
    """Within, SIGTERM and SIGHUP raise SystemExit with the code that a shell tells of them.

    SIGHUP stays ignored where it is: the process was started to outlive its terminal. So does
    SIGINT, which a shell has ignored by what it starts in the background, unless `interrupts`: then
    it raises KeyboardInterrupt as it does elsewhere. To be used in the main thread.
    """

    def end(number: int, _: FrameType | None) -> None:
        raise SystemExit(128 + number)

    handlers: dict[signal.Signals, Any] = {signal.SIGTERM: end}
    if interrupts:
        handlers[signal.SIGINT] = signal.default_int_handler
    if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
        handlers[signal.SIGHUP] = end
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
