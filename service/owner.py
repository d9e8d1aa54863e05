"""What the owner of the database runs: erasing text, putting right what follows from records."""

from datetime import UTC, datetime

import click
from sqlalchemy.exc import DBAPIError

from service.checking.mending import MendingError, mend
from service.installation import database_of, read_settings, seal_key_of
from service.log.append import UnknownStudioError
from service.log.engine import owner_engine
from service.log.tree import FrontierError
from service.record import ErasingError, erase_text
from service.vocabulary.instants import format_instant, instant_us
from service.vocabulary.kinds import POSITION
from service.web.schemas.events import check_event

_NO_RIGHT = "42501"
_SHOWN = {"/data/by": "--by", "/data/ground": "--why"}


@click.command("erase-text")
@click.option("--studio", required=True)
@click.option("--position", "positions", multiple=True, required=True,
              type=click.IntRange(POSITION.least, POSITION.most),
              help="An event's; may be repeated.")  # fmt: skip
@click.option("--why", required=True, help="On what ground; recorded for good, so no names.")
@click.option("--by", required=True, help="By whose order: an office's code, not a person's name.")
def erase_text_command(studio: str, positions: tuple[int, ...], why: str, by: str) -> None:
    """Remove the personal text of events for good, and record that it was removed.

    What else the events say stays, and proofs of the record still hold. Acts as the owner of the
    database (RETAKE_LEDGER_OWNER_DATABASE_URL). Exports and backups made before keep the text.
    """
    _check(positions, why, by)
    settings = read_settings()
    with database_of(settings) as url:
        engine = owner_engine(settings.owner_database_url or url)
        try:
            done = erase_text(engine, studio, positions, by, why)
        except UnknownStudioError as error:
            raise click.ClickException(str(error)) from error
        except (ErasingError, FrontierError) as error:
            raise click.ClickException(str(error)) from error
        except DBAPIError as error:
            raise click.ClickException(_explained(error)) from error
        finally:
            engine.dispose()
    click.echo(f"texts erased: {len(done.positions)}; recorded at position {done.position}")


@click.command("mend")
@click.option("--studio", required=True)
def mend_command(studio: str) -> None:
    """Put right what follows from a studio's record, and say what was done.

    The bytes of events, personal text and checkpoints are never touched; where they are not what
    they were nothing is changed, and it says so. Snapshots and trail are cleared, for the service
    to make again; a clock that was set by other means is put where the record ends. Acts as the
    owner of the database (RETAKE_LEDGER_OWNER_DATABASE_URL). Start the service again afterwards.
    """
    settings = read_settings()
    with database_of(settings) as url:
        engine = owner_engine(settings.owner_database_url or url)
        try:
            mended = mend(engine, studio, seal_key_of(settings))
        except UnknownStudioError as error:
            raise click.ClickException(str(error)) from error
        except MendingError as error:
            raise click.ClickException(f"nothing was changed: {error}") from error
        except DBAPIError as error:
            raise click.ClickException(_explained(error)) from error
        finally:
            engine.dispose()
    for done in mended.done or ["nothing had to be put right"]:
        click.echo(f"{studio}: {done}")
    for finding in mended.left:
        click.echo(f"{studio}: left as it is, since it follows from nothing else: {finding}")


def _check(positions: tuple[int, ...], why: str, by: str) -> None:
    """Refuse what an event could not say."""
    event = {
        "specversion": "1.0",
        "id": "checked",
        "source": "/owner",
        "type": "text.forgotten",
        "subject": "studio",
        "time": format_instant(instant_us(datetime.now(UTC))),
        "data": {"positions": list(positions), "by": by, "ground": why},
    }
    for error in check_event(event):
        shown = _SHOWN.get(error.pointer, "--position")
        raise click.BadParameter(error.detail, param_hint=shown)


def _explained(error: DBAPIError) -> str:
    message = str(error.orig).strip()
    if getattr(error.orig, "sqlstate", None) != _NO_RIGHT:
        return message
    return f"{message}; name the owner's login in RETAKE_LEDGER_OWNER_DATABASE_URL"
