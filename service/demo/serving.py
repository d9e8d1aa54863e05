"""The service that the demo starts: at a port that it holds from the first, and ended with it."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import click
import httpx
from rich.console import Console

from service.installation import DEFAULT_PORT
from service.settings import Settings
from service.signals import signals_raised

HOST = "127.0.0.1"
UP_S = 240.0
"""A first start compiles: some 20 s of a core, more where others use it."""
TRIED_PORTS = 100
_BACKLOG = 128
_SERVE = (sys.executable, "-m", "service.cli", "serve", "--quiet")


def listen(say: Console, wanted: int | None) -> socket.socket:
    """A socket that listens at the port asked for; where none is, at the usual or the next free.

    The service is given this very socket, so that no other one can answer at its port. Raises
    `ClickException` where the port asked for, or all that are tried, are taken.
    """
    if wanted is not None:
        listener = _listening(wanted)
        if listener is None:
            raise click.ClickException(f"port {wanted} is taken; name another with --port")
        return listener
    tried = range(DEFAULT_PORT, DEFAULT_PORT + TRIED_PORTS)
    listener = next((found for port in tried if (found := _listening(port)) is not None), None)
    if listener is None:
        raise click.ClickException(
            f"ports {tried[0]} to {tried[-1]} are all taken; name another with --port"
        )
    port = port_of(listener)
    if port != DEFAULT_PORT:
        say.print(f"Port {DEFAULT_PORT} is taken; the service answers at {port} instead.")
    return listener


def port_of(listener: socket.socket) -> int:
    """The port at which a socket listens."""
    port: int = listener.getsockname()[1]
    return port


def _listening(port: int) -> socket.socket | None:
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
        listener.listen(_BACKLOG)
    except OSError:
        listener.close()
        return None
    return listener


@contextmanager
def served(
    settings: Settings,
    listener: socket.socket,
    command: Sequence[str] = _SERVE,
    up_s: float = UP_S,
) -> Iterator[subprocess.Popen[bytes]]:
    """The service in processes of its own on a socket that listens; ended at the end.

    The socket is closed here once they have it. Raises `ClickException` where the service ends, or
    is not ready in `up_s`. A signal that would end this process raises SystemExit meanwhile, so
    that the service is ended then too.
    """
    port, fd = port_of(listener), listener.fileno()
    environ = {**os.environ, "RETAKE_LEDGER_DATA": str(settings.data)}
    # killed, this process cannot end the service: that sees the pipe closed then
    ends_with_us, held = os.pipe()
    options = ("--port", port, "--while-open", ends_with_us, "--listening", fd)
    # whoever sends SIGINT to a demo in the background means it
    with signals_raised(interrupts=True):
        server = subprocess.Popen(  # noqa: S603  # our own command
            [*command, *map(str, options)], env=environ, pass_fds=[fd, ends_with_us]
        )
        try:
            listener.close()
            os.close(ends_with_us)
            _wait_until_ready(server, port, up_s)
            try:
                yield server
            except httpx.TransportError as error:
                raise click.ClickException(_stopped_answering(server, error)) from error
        finally:
            server.terminate()
            server.wait()
            os.close(held)


def _wait_until_ready(server: subprocess.Popen[bytes], port: int, up_s: float) -> None:
    began = time.monotonic()
    remedy = f"`retake-ledger serve --port {port}` alone shows what it does; then run the demo anew"
    while not _is_ready(port):
        if (code := server.poll()) is not None:
            raise click.ClickException(f"the service ended by itself (code {code}): {remedy}")
        if time.monotonic() - began > up_s:
            raise click.ClickException(
                f"the service was not ready within {up_s:.0f} s; a first start compiles, which "
                f"takes long where the machine is busy: {remedy}"
            )
        time.sleep(0.1)


def _is_ready(port: int) -> bool:
    try:
        return httpx.get(f"http://{HOST}:{port}/ready", timeout=5).is_success
    except httpx.TransportError:
        return False


def _stopped_answering(server: subprocess.Popen[bytes], error: httpx.TransportError) -> str:
    code = server.poll()
    ended = "" if code is None else f"; it ended with code {code}"
    return f"the service stopped answering ({error}){ended}: run the demo anew"
