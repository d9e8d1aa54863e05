"""The service that the demo starts: at a port that nobody else can have, and ended with it."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import StringIO
from pathlib import Path

import click
import httpx
import pytest
from rich.console import Console

from service.demo.serving import HOST, listen, port_of, served
from service.installation import DEFAULT_PORT
from service.settings import Settings

SETTINGS = Settings(None, None, Path("/nowhere"))
ANSWERS = """
import http.server, os, socket, sys
class Ready(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200); self.end_headers()
    def log_message(self, *_): pass
server = http.server.HTTPServer(("127.0.0.1", 0), Ready, bind_and_activate=False)
server.socket = socket.socket(fileno=int(sys.argv[-1]))
server.serve_forever()
"""
"""A service that answers at the socket it is given."""
SILENT = "import os, sys, time; os.close(int(sys.argv[-1])); time.sleep(60)"
"""One that never answers, nor listens."""
KILLED = ANSWERS.replace("GET(self):", "GET(self):\n        if self.path == '/clock': os._exit(1)")
"""One that ends when a request for its clock comes."""
IN_THE_BACKGROUND = """
import signal
signal.signal(signal.SIGINT, signal.SIG_IGN)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
"""
"""What a shell does to a command that it starts with `&`, whatever these tests were started by."""


def says() -> Console:
    return Console(file=StringIO())


def running(code: str) -> list[str]:
    return [sys.executable, "-c", code]


@contextmanager
def a_stranger() -> Iterator[int]:
    """A port at which somebody else listens."""
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        yield holder.getsockname()[1]


def test_a_port_that_somebody_has_is_refused() -> None:
    with a_stranger() as port, pytest.raises(click.ClickException, match="name another"):
        listen(says(), port)


def test_where_the_usual_port_is_taken_the_next_one_is_told() -> None:
    told = StringIO()
    with socket.socket() as holder:
        holder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with suppress(OSError):  # somebody else has it already
            holder.bind((HOST, DEFAULT_PORT))
            holder.listen()
        with listen(Console(file=told, width=200), None) as listener:
            port = port_of(listener)
    assert port > DEFAULT_PORT
    assert told.getvalue() == (
        f"Port {DEFAULT_PORT} is taken; the service answers at {port} instead.\n"
    )


def test_nobody_else_can_listen_at_its_port_from_the_first() -> None:
    with listen(says(), 0) as listener, socket.socket() as other:
        other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with pytest.raises(OSError, match="in use"):
            other.bind(("127.0.0.1", port_of(listener)))


def test_the_service_answers_at_the_socket_that_it_was_given() -> None:
    listener = listen(says(), 0)
    port = port_of(listener)
    with served(SETTINGS, listener, running(ANSWERS)):
        assert httpx.get(f"http://127.0.0.1:{port}/ready").is_success
    with pytest.raises(httpx.TransportError):
        httpx.get(f"http://127.0.0.1:{port}/ready")


def test_a_service_that_ends_by_itself_is_reported_with_what_to_do() -> None:
    with (
        pytest.raises(
            click.ClickException, match=r"code 3.*retake-ledger serve --port \d+"
        ) as raised,
        served(SETTINGS, listen(says(), 0), running("import sys; sys.exit(3)")),
    ):
        pass
    assert "above" not in raised.value.message


def test_a_service_that_does_not_come_up_tells_how_long_it_was_waited_for() -> None:
    with (
        pytest.raises(click.ClickException, match=r"within 1 s.*retake-ledger serve"),
        served(SETTINGS, listen(says(), 0), running(SILENT), up_s=1.0),
    ):
        pass


def test_a_service_that_ends_while_it_is_posted_to_leaves_no_traceback() -> None:
    listener = listen(says(), 0)
    port = port_of(listener)
    with (
        pytest.raises(click.ClickException, match="stopped answering"),
        served(SETTINGS, listener, running(KILLED)),
    ):
        httpx.get(f"http://127.0.0.1:{port}/clock")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_signal_that_ends_the_demo_ends_its_service(number: signal.Signals) -> None:
    demo = f"""
import sys
from pathlib import Path
from rich.console import Console
from service.demo.serving import listen, served
from service.settings import Settings
command = [sys.executable, "-c", {ANSWERS!r}]
with served(Settings(None, None, Path("/nowhere")), listen(Console(), 0), command) as server:
    print(server.pid, flush=True)
    server.wait()
"""
    with subprocess.Popen(
        running(IN_THE_BACKGROUND + demo), stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            pid = int(process.stdout.readline())
            process.send_signal(number)
            assert process.wait(timeout=60) != 0
            with pytest.raises(ProcessLookupError):
                os.kill(pid, 0)
        finally:
            process.kill()
