"""What an auditor runs: signing keys, exports, and looking through a record."""

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

import click
import httpx
from rich.console import Console
from rich.progress import Progress

from service.client import Client, RefusedError
from service.feeds.episode_exports import export_episode
from service.feeds.exports import ExportError, export
from service.inspector import verify_everything
from service.installation import engine_of, read_settings
from service.intake import exported, online
from service.intake.verifying import Verified, verify_episode, verify_export, verify_service
from service.keys import Keys, KeysError, ensure_keys, ensure_seal_key, read_keys, rotate
from service.log.append import UnknownStudioError
from service.proofs.checkpoints import Checkpoint
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
                seal_key = ensure_seal_key(settings.keys_folder)
                for done in export_episode(
                    *(engine, studio, episode, folder, origin, secret),
                    personal=personal,
                    seal_key=seal_key,
                ):
                    progress.update(task, completed=done)
        except (KeysError, ExportError, UnknownStudioError) as error:
            raise click.ClickException(str(error)) from error
    click.echo(folder)


_READ = "events, as they were"
_UNREAD = "events in the service's tree, none of them read (--every-event reads them)"


def _token(file: TextIO | None) -> str | None:
    """The token of a file or of the environment; arguments can be read by others."""
    if file is None:
        return os.environ.get("RETAKE_LEDGER_TOKEN") or None
    words = file.read().split()
    return words[-1] if words else None


@click.command("verify")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--checkpoint", "files", multiple=True, type=click.Path(path_type=Path),
              help="A checkpoint kept elsewhere; may be repeated.")  # fmt: skip
@click.option("--key", "key_texts", multiple=True, help="The log's public key; may be repeated.")
@click.option("--against", type=click.Path(path_type=Path), help="An older export.")
@click.option("--url", help="A running service instead of an export.")
@click.option("--every-event", is_flag=True, help="With --url: read every event, and check it.")
@click.option("--all", "everything", is_flag=True,
              help="All records of this installation, folded anew.")  # fmt: skip
@click.option("--studio", "only", multiple=True, help="With --all: this studio alone.")
@click.option("--token-file", type=click.File(), help="Of a token of that service, alone or as "
              "the header that carries it; left out, RETAKE_LEDGER_TOKEN is read.")  # fmt: skip
def verify_command(
    folder: Path | None,
    files: tuple[Path, ...],
    key_texts: tuple[str, ...],
    against: Path | None,
    url: str | None,
    token_file: TextIO | None,
    every_event: bool,
    everything: bool,
    only: tuple[str, ...],
) -> None:
    """Check an export, or a running service, against checkpoints kept elsewhere.

    With --all, fold every record of this installation anew and hold against it all that is stored
    beside it: columns, personal text, clocks, snapshots, trails. Ends with 1 and the position of
    the first difference if anything is not what it was.
    """
    if everything or only:
        if not everything or folder or url or against or every_event:
            raise click.UsageError(
                "--all looks at this installation's database, with --studio at one of its studios: "
                "leave everything but --checkpoint and --key out"
            )
        verify_everything(files, key_texts, only)
        return
    token = _token(token_file) if url is not None else None
    if (folder is None) == (url is None) or (url is not None and token is None):
        raise click.UsageError(
            "name the folder of an export, or --url and --token-file, or say --all"
        )
    try:
        keys = tuple(read_key(one) for one in key_texts)
        checkpoints = [exported.read_signed_checkpoint(path, keys) for path in files]
        if folder is not None:
            what, verified = _verified(folder, checkpoints, keys, against)
        else:
            what = _READ if every_event else _UNREAD
            with Client(url or "", token or "") as service:
                verified = verify_service(
                    service, keys, checkpoints, against, every_event=every_event
                )
    except (NoteError, exported.ExportedError, online.OnlineError) as error:
        raise click.ClickException(str(error)) from error
    except (RefusedError, httpx.TransportError) as error:
        raise click.ClickException(f"the service: {error}") from error
    if verified.difference is not None:
        position, wrong = verified.difference
        click.echo(f"NOT what it was: position {position}: {wrong}")
        sys.exit(1)
    if what == _READ and not (files or against):
        what = "events that agree with the hashes beside them, held against nothing kept elsewhere"
    older = " and the older export" if against else ""
    click.echo(f"{verified.size} {what}; checkpoints that agree: {len(files)}{older}")
    if verified.salted_from is not None:
        click.echo(f"each has a salt from position {verified.salted_from} on")


def _verified(
    folder: Path, checkpoints: list[Checkpoint], keys: tuple[Key, ...], against: Path | None
) -> tuple[str, Verified]:
    """What an export was found to have, in words, and what came of verifying it."""
    if not exported.is_of_episode(folder):
        return _READ, verify_export(folder, checkpoints, keys, against)
    if against is not None:
        raise click.UsageError("--against is for exports of a whole record")
    words = "events of one episode, each in the record"
    return words, verify_episode(folder, checkpoints, keys)
