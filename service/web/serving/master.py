"""The process that starts workers and ends them."""

import signal

from gunicorn.arbiter import Arbiter

END_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGQUIT)
"""What tells a worker to end."""


class Master(Arbiter):  # type: ignore[misc]  # gunicorn ships no types for it
    """Gunicorn's master, whose signals reach each worker from the fork on."""

    def spawn_worker(self) -> int:
        """Fork a worker, for which signals to end wait until it has handlers of its own.

        Before, it has the master's, which would put them where only the master looks.
        """
        signal.pthread_sigmask(signal.SIG_BLOCK, END_SIGNALS)
        try:
            pid: int = super().spawn_worker()
        finally:
            signal.pthread_sigmask(signal.SIG_UNBLOCK, END_SIGNALS)
        return pid
