"""What an auditor runs: signing keys, exports, and looking through a record."""

import sys
from collections.abc import Callable
from pathlib import Path

import click
import httpx
from rich.console import Console
from rich.progress import Progress

from service.client import Client, RefusedError
from service.feeds.episode_exports import export_episode
from service.feeds.exports import ExportError, export
from service.installation import engine_of, read_settings
from service.intake import exported, online
from service.intake.verifying import verify_episode, verify_export, verify_service
from service.keys import Keys, KeysError, ensure_keys, read_keys, rotate
from service.log.append import UnknownStudioError
from service.proofs.notes import ED25519, Key, NoteError, read_key


@click.group("signing-key")
def signing_key_group() -> None:
    """Make, replace and show the key that checkpoints are signed with."""


@signing_key_group.command("make")
@click.option("--studio", required=True)
def signing_key_make(studio: str) -> None:
    """Make a key if there is none, and print its public half for a studio's auditors."""
    _show_key(studio, ensure_keys)


@signing_key_group.command("rotate")
@click.option("--studio", required=True)
def signing_key_rotate(studio: str) -> None:
    """Replace the key; signatures of the one before can still be checked."""
    _show_key(studio, rotate)


@signing_key_group.command("show")
@click.option("--studio", required=True)
def signing_key_show(studio: str) -> None:
    """Print the public half of the key that signs a studio's checkpoints."""
    _show_key(studio, read_keys)


def _show_key(studio: str, do: Callable[[Path], Keys]) -> None:
    settings = read_settings()
    try:
        public = do(settings.keys_folder).public
    except KeysError as error:
        raise click.ClickException(str(error)) from error
    click.echo(Key(settings.origin_of(studio), ED25519, public))


@click.command("export")
@click.option("--studio", required=True)
@click.option("--personal", is_flag=True, help="With the personal text and its salts.")
@click.option("--episode", help="Of this episode alone, each event with its proof.")
@click.argument("folder", type=click.Path(path_type=Path))
def export_command(studio: str, personal: bool, episode: str | None, folder: Path) -> None:
    """Write a studio's whole record into a new folder, with a checkpoint of it."""
    settings = read_settings()
    with engine_of(settings) as engine, Progress(console=Console(stderr=True)) as progress:
        try:
            secret = ensure_keys(settings.keys_folder).secret
            origin = settings.origin_of(studio)
            task = progress.add_task("events", total=None)
            if episode is None:
                steps = export(engine, studio, folder, origin, secret, personal=personal)
                for done, total in steps:
                    progress.update(task, completed=done, total=total)
            else:
                for done in export_episode(
                    engine, studio, episode, folder, origin, secret, personal=personal
                ):
                    progress.update(task, completed=done)
        except (KeysError, ExportError, UnknownStudioError) as error:
            raise click.ClickException(str(error)) from error
    click.echo(folder)


@click.command("verify")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--checkpoint", "files", multiple=True, type=click.Path(path_type=Path),
              help="A checkpoint kept elsewhere; may be repeated.")  # fmt: skip
@click.option("--key", "told", multiple=True, help="The log's public key; may be repeated.")
@click.option("--against", type=click.Path(path_type=Path), help="An older export.")
@click.option("--url", help="A running service instead of an export.")
@click.option("--every-event", is_flag=True, help="With --url: read every event, and check it.")
@click.option("--token", envvar="RETAKE_LEDGER_TOKEN", help="A token of that service.")
def verify_command(
    folder: Path | None,
    files: tuple[Path, ...],
    told: tuple[str, ...],
    against: Path | None,
    url: str | None,
    token: str | None,
    every_event: bool,
) -> None:
    """Check an export, or a running service, against checkpoints kept elsewhere.

    Ends with 1 and the position of the first difference if the record is not what it was.
    """
    if (folder is None) == (url is None) or (url is not None and token is None):
        raise click.UsageError("name the folder of an export, or --url and --token")
    try:
        keys = tuple(read_key(one) for one in told)
        checkpoints = [exported.read_signed_checkpoint(path, keys) for path in files]
        of_episode = folder is not None and exported.is_of_episode(folder)
        if folder is not None and of_episode:
            if against is not None:
                raise click.UsageError("--against is for exports of a whole record")
            verified = verify_episode(folder, checkpoints, keys)
        elif folder is not None:
            verified = verify_export(folder, checkpoints, against)
        else:
            with Client(url or "", token or "") as service:
                verified = verify_service(
                    service, keys, checkpoints, against, every_event=every_event
                )
    except (NoteError, exported.ExportedError, online.OnlineError) as error:
        raise click.ClickException(str(error)) from error
    except (RefusedError, httpx.TransportError) as error:
        raise click.ClickException(f"the service: {error}") from error
    if verified.difference is not None:
        position, what = verified.difference
        click.echo(f"NOT what it was: position {position}: {what}")
        sys.exit(1)
    older = " and the older export" if against else ""
    told_of = "events of one episode, each in the record" if of_episode else "events, as they were"
    click.echo(f"{verified.size} {told_of}; checkpoints that agree: {len(files)}{older}")
    if verified.salted_from is not None:
        click.echo(f"each has a salt from position {verified.salted_from} on")
