"""The settings and the database of this process, for whatever the command line does."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import click
from sqlalchemy import Engine
from sqlalchemy.exc import DataError, ProgrammingError

from service.keys import KeysError, OpenKeyError, ensure_seal_key, others_may_write
from service.log import embedded
from service.log.embedded import EmbeddedServerError
from service.log.engine import service_engine
from service.log.migrate import is_up_to_date
from service.settings import Settings, SettingsError
from service.signals import signals_raised

DEFAULT_PORT = 8765
UNUSED_S = 5.0
"""How long others who use the embedded server may take to leave it."""


def read_settings() -> Settings:
    """The settings of this process; a wrong one ends the command with its message."""
    try:
        settings = Settings.from_environment(os.environ)
    except SettingsError as error:
        raise click.ClickException(str(error)) from error
    compiled_here = Path(__file__).parent / "planning" / "kernel"
    if "NUMBA_CACHE_DIR" not in os.environ and not os.access(compiled_here, os.W_OK):
        # compiled code goes beside the data where the installation is read-only
        compiled = settings.data / "compiled"
        for folder in (settings.data, compiled):
            with suppress(OSError):  # it is not there, or will be told of by who needs it
                if not others_may_write(folder):
                    continue
                raise click.ClickException(
                    f"others may write to {folder}, from where code would be run: run this as its "
                    "owner, or give it to this user with chown, and run chmod go-w on it"
                )
        os.environ["NUMBA_CACHE_DIR"] = str(compiled)
    return settings


def seal_key_of(settings: Settings) -> bytes | None:
    """The key of seals, made if there is none yet; without one it says so and nothing is sealed.

    A key that others can read or replace ends the command.
    """
    try:
        return ensure_seal_key(settings.keys_folder)
    except OpenKeyError as error:
        raise click.ClickException(str(error)) from error
    except KeysError as error:
        click.echo(f"no seals, so no snapshots are used and no clocks sealed: {error}", err=True)
        return None


@contextmanager
def database_of(settings: Settings) -> Iterator[str]:
    """The URL of a migrated database: the one configured, or the embedded server's.

    The embedded server is started if it does not run, and then stopped at the end, unless others
    use it by then. Raises `EmbeddedServerError` where it cannot be had. One that is configured is
    migrated by its owner and not here: a command ends with that remedy where it was not.
    """
    if settings.database_url is not None:
        _refuse_unmigrated(settings.database_url, settings)
        yield settings.database_url
        return
    started = False
    with signals_raised():  # else nobody would stop the server that was started
        try:
            with embedded.used(settings.data):
                started = not embedded.is_running(settings.data)
                url = embedded.ensure_running(settings.data)
                migrate_apart()
                yield url
        finally:
            if started:
                try:
                    embedded.stop(settings.data, unless_used_s=UNUSED_S)
                except EmbeddedServerError as error:  # the command has done what it was for
                    click.echo(f"the database is left running: {error}", err=True)


def _refuse_unmigrated(url: str, settings: Settings) -> None:
    why = "is not of this release"
    engine = service_engine(url, settings)
    try:
        with engine.connect() as connection:
            if is_up_to_date(connection):
                return
    except (DataError, ProgrammingError) as error:
        # there is no such role, this login is no member of it, or it may not look at the tables
        why = f"cannot be used by this login ({error.orig})"
    finally:
        engine.dispose()
    raise click.ClickException(f"the database {why}: run `retake-ledger migrate` as its owner")


def migrate_apart() -> None:
    """Migrate as the owner in a process that ends before workers start. Raises ClickException."""
    ended = subprocess.run([sys.executable, "-m", "service.cli", "migrate"], check=False)
    if ended.returncode != 0:
        raise click.ClickException("the database could not be migrated")


@contextmanager
def engine_of(settings: Settings) -> Iterator[Engine]:
    """An engine of the service's role on the migrated database."""
    with database_of(settings) as url:
        engine = service_engine(url, settings)
        try:
            yield engine
        finally:
            engine.dispose()
