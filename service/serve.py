"""The command `retake-ledger serve`."""

import logging
import os
import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import click
from sqlalchemy.exc import OperationalError

from service.installation import (
    DEFAULT_PORT,
    UNUSED_S,
    database_of,
    read_settings,
    seal_key_of,
)
from service.keys import KeysError, OpenKeyError, ensure_keys, others_may_read
from service.log import embedded, studios
from service.log.engine import service_engine
from service.log.rights import TooManyRightsError, refuse_too_many_rights
from service.log.tree import FrontierError, checked_head
from service.settings import Settings
from service.signals import signals_raised
from service.tls import context_of

if TYPE_CHECKING:  # what it stands on looks for the folder of metrics when it is imported
    from service.web.serving import Limits

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option(
    "--workers",
    default=2,
    show_default=True,
    type=click.IntRange(1, 64),
    help="Processes that answer; one more builds the trails of dates.",
)
@click.option(
    "--threads", default=8, show_default=True, type=click.IntRange(1, 256), help="In each worker."
)
@click.option("--tls-certificate", type=_FILE, help="PEM file; connections are then encrypted.")
@click.option("--tls-key", type=_FILE, help="PEM file of its key, which nobody else may read.")
@click.option(
    "--metrics-bind",
    metavar="HOST:PORT",
    help="Answer /metrics there and nowhere else, and nothing else there.",
)
@click.option("--quiet", is_flag=True, help="Log faults alone, not one line a request.")
@click.option(
    "--listening",
    type=click.IntRange(min=0),
    hidden=True,
    help="A file descriptor inherited from the caller, of a socket that listens there already.",
)
@click.option(
    "--while-open",
    type=click.IntRange(min=0),
    hidden=True,
    help="One of a pipe: the service ends, and its embedded server, when the caller has.",
)
def serve_command(
    host: str,
    port: int,
    workers: int,
    threads: int,
    tls_certificate: Path | None,
    tls_key: Path | None,
    metrics_bind: str | None,
    quiet: bool,
    listening: int | None,
    while_open: int | None,
) -> None:
    """Run the service until a signal ends it; logs go to standard error, JSON a line."""
    settings = read_settings()
    tls = _tls(tls_certificate, tls_key)
    if listening is None:
        _refuse_unusable(host, port, "--host and --port")
    metrics_port = _port_of(metrics_bind, port)
    logging.basicConfig(format="%(message)s", level=logging.WARNING)
    logging.getLogger("retake_ledger").setLevel(logging.WARNING if quiet else logging.INFO)
    with (
        _ended_with_caller(while_open, settings),
        database_of(settings) as url,
        TemporaryDirectory(prefix="rl-metrics-") as shared,
    ):
        # who runs the embedded server owns it: there is no other login to ask for
        if settings.database_url is not None and not settings.more_rights:
            _check_rights(url)
        # where workers put their figures, so that any of them can answer for all
        os.environ["PROMETHEUS_MULTIPROC_DIR"] = shared
        from service.web.serving import Limits, Options, serve  # noqa: PLC0415  # it looks at that folder

        try:
            ensure_keys(settings.keys_folder)
        except OpenKeyError as error:
            raise click.ClickException(str(error)) from error
        except KeysError as error:
            # it records and answers without one, and says so where a checkpoint is asked for
            click.echo(f"no checkpoints are signed: {error}", err=True)
        seal_key_of(settings)
        _check_trees(url, settings)
        limits = Limits(
            connections_max=settings.connections_max,
            body_bytes_max=settings.body_bytes_max,
            requests_max=settings.requests_max,
            wrong_tokens_max=settings.wrong_tokens_max,
        )
        config = gunicorn_config(host, port, workers, limits)
        config["bind"] = _binds(config["bind"], listening, metrics_bind)
        if not quiet:
            scheme = "http" if tls is None else "https"
            message = f"answering at {scheme}://{host}:{port}, until Ctrl-C"
            # once it has the port
            config["when_ready"] = lambda _: click.echo(message, err=True)
        options = Options(threads, limits, settings.proxies, tls, metrics_port)
        serve(settings, url, config, options)


def _port_of(bind: str | None, taken: int) -> int | None:
    if bind is None:
        return None
    host, _, port = bind.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 2**16 or int(port) == taken:
        raise click.BadParameter(
            f"write an address and a port other than {taken}, such as 127.0.0.1:9765",
            param_hint="--metrics-bind",
        )
    _refuse_unusable(host, int(port), "--metrics-bind")
    return int(port)


def _binds(usual: list[str], listening: int | None, metrics_bind: str | None) -> list[str]:
    """Where to listen: at a socket that does already, if one is given, and where metrics are."""
    first = usual if listening is None else [f"fd://{listening}"]
    return first if metrics_bind is None else [*first, metrics_bind]


def _refuse_unusable(host: str, port: int, options: str) -> None:
    """End the command where it cannot listen; gunicorn would try for some seconds first."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET  # as gunicorn has it
    try:
        with socket.socket(family) as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind((host.strip("[]"), port))
            tried.listen()
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise click.ClickException(
            f"cannot listen at {host}:{port} ({reason}): name another with {options}"
        ) from error


@contextmanager
def _ended_with_caller(pipe: int | None, settings: Settings) -> Iterator[None]:
    """End when whoever holds the other end of a pipe is gone, and stop the embedded server then.

    The caller may have started that, and can stop it no more.
    """
    if pipe is None:
        yield
        return
    gone = threading.Event()

    def wait() -> None:
        os.read(pipe, 1)  # nothing is ever written to it
        gone.set()
        os.kill(os.getpid(), signal.SIGTERM)

    with signals_raised():  # until gunicorn has handlers of its own
        threading.Thread(target=wait, daemon=True).start()
        try:
            yield
        finally:
            if gone.is_set() and settings.database_url is None:
                embedded.stop(settings.data, unless_used_s=UNUSED_S)


def _tls(certificate: Path | None, key: Path | None) -> tuple[Path, Path] | None:
    if (certificate is None) != (key is None):
        raise click.UsageError("--tls-certificate and --tls-key are given together")
    if certificate is None or key is None:
        return None
    if others_may_read(key):
        raise click.ClickException(f"others may read the key {key}: run chmod 600 on it")
    try:
        context_of(certificate, key)
    except OSError as error:
        raise click.ClickException(
            f"{certificate} and {key} are no certificate and its key, both PEM: {error}"
        ) from error
    return certificate, key


def _check_trees(url: str, settings: Settings) -> None:
    """Say of each studio whose tree is not that of its rows; the others are served all the same."""
    engine = service_engine(url, settings)
    try:
        with engine.connect() as connection:
            for found in studios.list_studios(connection):
                try:
                    checked_head(connection, found.studio)
                except FrontierError as error:
                    click.echo(str(error), err=True)
    finally:
        engine.dispose()


def _check_rights(url: str) -> None:
    try:
        refuse_too_many_rights(url)
    except (TooManyRightsError, OperationalError) as error:
        cause = error.orig if isinstance(error, OperationalError) else error
        raise click.ClickException(str(cause)) from error


def gunicorn_config(host: str, port: int, workers: int, limits: "Limits") -> dict[str, Any]:
    """What gunicorn's master is told: among it, to wait longer than a worker does by itself."""
    return {
        "bind": [f"[{host}]:{port}" if ":" in host else f"{host}:{port}"],
        "workers": workers + 1,  # one builds the trails and serves nobody
        "timeout": int(limits.answer_s) + 30,
        "graceful_timeout": int(limits.stop_s) + 5,
        "proc_name": "retake-ledger",
        "loglevel": "warning",
        "control_socket_disable": True,
    }
