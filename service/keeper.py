"""What the keeper of a record runs: taking an export in, backups."""

from collections.abc import Iterable
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress, TaskID

from service.feeds import backups
from service.feeds.backups import BackupError, back_up
from service.installation import engine_of, read_settings, seal_key_of
from service.intake import exported
from service.intake.importing import Aim, ImportedError, Taken, take_in
from service.intake.restoring import RestoreError, restore
from service.keys import KeysError, ensure_keys, read_keys
from service.log.studios import Clock, StudioExistsError, StudioNameError, list_studios
from service.proofs.notes import NoteError, read_key
from service.vocabulary.instants import parse_instant


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--studio", required=True, help="A new one; it is made.")
@click.option("--clock", type=click.Choice(["real", "simulated"]), default="real",
              show_default=True, help="Fixed for good.")  # fmt: skip
@click.option(
    "--clock-at", help="Where a simulated clock begins (RFC 3339); else at the record's end."
)
@click.option("--title", help="Its own name, on its papers; else its code.")
@click.option("--checkpoint", "files", multiple=True, type=click.Path(path_type=Path),
              help="A checkpoint kept elsewhere; may be repeated.")  # fmt: skip
@click.option("--key", "key_texts", multiple=True, help="The log's public key; may be repeated.")
def import_command(
    folder: Path,
    studio: str,
    clock: Clock,
    clock_at: str | None,
    title: str | None,
    files: tuple[Path, ...],
    key_texts: tuple[str, ...],
) -> None:
    """Take a whole export into a new studio: the same positions, leaves and root.

    All of it or nothing; it is checked before and after.
    """
    if clock_at is not None and clock != "simulated":
        raise click.UsageError(
            "--clock-at is said with --clock simulated, and only then: add one or leave out both"
        )
    try:
        clock_at_us = None if clock_at is None else parse_instant(clock_at)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--clock-at") from error
    aim, taken = Aim(studio, clock, clock_at_us, title), Taken(0, 0)
    try:
        keys = tuple(read_key(one) for one in key_texts)
        checkpoints = [exported.read_signed_checkpoint(path, keys) for path in files]
        settings = read_settings()
        with (
            engine_of(settings) as engine,
            Progress(console=Console(stderr=True)) as progress,
        ):
            task = progress.add_task("events", total=None)
            for taken in take_in(engine, aim, folder, checkpoints, keys, seal_key_of(settings)):
                progress.update(task, completed=taken.events, total=taken.events_in_all)
    except (
        NoteError, exported.ExportedError, ImportedError, StudioNameError, StudioExistsError
    ) as error:  # fmt: skip
        raise click.ClickException(f"nothing was kept: {error}") from error
    click.echo(f"{studio}: {taken.events} events, as they were")
    if taken.texts_missing:
        click.echo(
            f"personal text of {taken.texts_missing} of them is not in the export, as is now "
            f"recorded from position {taken.events + 1} on",
            err=True,
        )


@click.command("backup")
@click.argument("folder", type=click.Path(path_type=Path))
def backup_command(folder: Path) -> None:
    """Write all studios into a new folder: what is recorded, people's words, tokens' hashes.

    Every record is checked as it is in the backup. The service may go on meanwhile. The keys that
    sign checkpoints are not in it.
    """
    settings = read_settings()
    with engine_of(settings) as engine:
        try:
            secret = ensure_keys(settings.keys_folder).secret
            noticed: list[str] = []
            _show_rows(
                back_up(
                    engine,
                    folder,
                    settings.origin_of,
                    secret,
                    lambda studio, finding: noticed.append(f"{studio}: {finding}"),
                )
            )
        except (KeysError, BackupError) as error:
            raise click.ClickException(str(error)) from error
    for notice in noticed:
        click.echo(f"kept as it is: {notice}", err=True)
    click.echo(folder)


@click.command("restore")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--key", "key_texts", multiple=True, help="A log's public key; may be repeated.")
def restore_command(folder: Path, key_texts: tuple[str, ...]) -> None:
    """Put a backup into an empty database, and verify it before it is kept.

    All of it or nothing.
    """
    try:
        keys = tuple(read_key(one) for one in key_texts)
        settings = read_settings()
        with engine_of(settings) as engine:
            _show_rows(restore(engine, folder, keys, seal_key_of(settings)))
            with engine.connect() as connection:
                studios = len(list_studios(connection))
    except (NoteError, RestoreError) as error:
        raise click.ClickException(f"nothing was kept: {error}") from error
    click.echo(f"studios, as they were: {studios}")
    if not keys:
        click.echo(
            "no --key was said, so that nobody vouches for what lies outside the records: tokens, "
            "titles, clocks",
            err=True,
        )
    try:
        read_keys(settings.keys_folder)
    except KeysError:
        click.echo(
            f"there is no signing key in {settings.keys_folder}: put those of the installation "
            "that was backed up there before this one serves, or it signs with a new one",
            err=True,
        )


def _show_rows(steps: Iterable[backups.Progress]) -> None:
    with Progress(console=Console(stderr=True)) as shown:
        tasks: dict[str, TaskID] = {}
        for table, rows, in_all in steps:
            if table not in tasks:
                tasks[table] = shown.add_task(table, total=in_all)
            shown.update(tasks[table], completed=rows)
