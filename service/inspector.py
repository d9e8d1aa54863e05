"""`verify --all`: every record of this installation folded anew, and what is stored beside it."""

import sys
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress
from sqlalchemy import Engine

from service.checking.whole import Checked, Means, check_studio
from service.installation import engine_of, read_settings
from service.intake.exported import ExportedError, read_signed_checkpoint
from service.keys import Keys, KeysError, read_keys, read_seal_key
from service.log.append import UnknownStudioError, read_head
from service.log.studios import StudioRecord, list_studios
from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import NoteError, read_key
from service.settings import Settings


def verify_everything(
    files: tuple[Path, ...], keys: tuple[str, ...], only: tuple[str, ...]
) -> None:
    """Check every studio, or some, and end with 1 if anything is not what it was."""
    from service.projections.rebuilding import cores  # noqa: PLC0415  # what it needs is compiled

    settings = read_settings()
    means = _means(settings, cores())
    try:
        trusted = tuple(read_key(one) for one in keys)
        checkpoints = [read_signed_checkpoint(path, trusted) for path in files]
    except (NoteError, ExportedError) as error:
        raise click.ClickException(str(error)) from error
    sound = True
    with engine_of(settings) as engine:
        for studio in _chosen(engine, only):
            of_it = [one for one in checkpoints if one.origin == settings.origin_of(studio.studio)]
            checkpoints = [one for one in checkpoints if one not in of_it]
            sound &= _tell(studio, _checked(engine, studio, means, of_it))
    for unused in checkpoints:
        sound = False
        click.echo(f"a checkpoint of {unused.origin} is of no studio that was looked at")
    if not sound:
        sys.exit(1)


def _means(settings: Settings, processes: int) -> Means:
    keys: Keys | None = None
    seal_key: bytes | None = None
    try:
        keys = read_keys(settings.keys_folder)
    except KeysError as error:
        click.echo(f"whose signatures checkpoints bear is not looked at: {error}", err=True)
    try:
        seal_key = read_seal_key(settings.keys_folder)
        if seal_key is None:
            message = f"there is no key of seals in {settings.keys_folder}: seals are not looked at"
            click.echo(message, err=True)
    except KeysError as error:
        click.echo(f"seals are not looked at: {error}", err=True)
    return Means(settings, keys, seal_key, processes)


def _chosen(engine: Engine, only: tuple[str, ...]) -> list[StudioRecord]:
    with engine.connect() as connection:
        studios = list_studios(connection)
    names = {studio.studio for studio in studios}
    for name in only:
        if name not in names:
            raise click.ClickException(str(UnknownStudioError(name)))
    return [studio for studio in studios if not only or studio.studio in only]


def _checked(
    engine: Engine, studio: StudioRecord, means: Means, checkpoints: list[Checkpoint]
) -> Checked:
    with engine.connect() as connection:
        total = read_head(connection, studio.studio).position
    with Progress(console=Console(stderr=True)) as progress:
        tasks = {
            what: progress.add_task(f"{studio.studio}: {what}", total=total)
            for what in ("record", "trail")
        }
        return check_studio(
            engine,
            studio,
            means,
            checkpoints,
            lambda what, position: progress.update(tasks[what], completed=position),
        )


def _tell(studio: StudioRecord, checked: Checked) -> bool:
    """Say what was found of a studio; whether nothing was."""
    for finding in checked.findings:
        click.echo(f"{studio.studio}: NOT what follows from the record: {finding}")
    if not checked.folded:
        click.echo(f"{studio.studio}: snapshots and trail were not looked at, for that reason")
    if checked.findings:
        click.echo(
            f"{studio.studio}: `retake-ledger mend --studio {studio.studio}` puts right what "
            "follows from the record and says what it leaves; for that restore a backup"
        )
        return False
    click.echo(
        f"{studio.studio}: {checked.size} events, and all that is stored beside them, follow from "
        f"the record; checkpoints that agree: {checked.checkpoints}"
    )
    return True
