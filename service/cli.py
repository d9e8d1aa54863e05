"""The command `retake-ledger`."""

import re
from concurrent.futures import BrokenExecutor
from contextlib import suppress
from datetime import UTC, datetime
from importlib import import_module
from typing import Any

import click
from sqlalchemy.exc import OperationalError

from service.installation import (
    DEFAULT_PORT,
    UNUSED_S,
    database_of,
    engine_of,
    read_settings,
    seal_key_of,
)
from service.log import embedded, studios, tokens
from service.log.append import UnknownStudioError
from service.log.migrate import MigrationError, migrate
from service.vocabulary.facts import Role
from service.vocabulary.identifiers import DEPARTMENT
from service.vocabulary.instants import format_instant, parse_instant

# what these stand on is compiled, or takes a second to load
ELSEWHERE = {
    "signing-key": "service.auditor:signing_key_group",
    "export": "service.auditor:export_command",
    "verify": "service.auditor:verify_command",
    "import": "service.keeper:import_command",
    "backup": "service.keeper:backup_command",
    "restore": "service.keeper:restore_command",
    "serve": "service.serve:serve_command",
    "erase-text": "service.owner:erase_text_command",
    "mend": "service.owner:mend_command",
}


class Commands(click.Group):
    """The commands; those of other modules are loaded when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names."""
        return sorted([*super().list_commands(ctx), *ELSEWHERE])

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, after the folder of what is compiled is said."""
        if cmd_name not in ELSEWHERE:
            return super().get_command(ctx, cmd_name)
        with suppress(click.ClickException):  # the command itself tells of wrong settings
            read_settings()
        module, _, name = ELSEWHERE[cmd_name].partition(":")
        command: click.Command = getattr(import_module(module), name)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; where it needs the embedded server and cannot have it, it says why."""
        try:
            return super().invoke(ctx)
        except embedded.EmbeddedServerError as error:
            raise click.ClickException(str(error)) from error
        except OperationalError as error:
            raise click.ClickException(f"the database cannot be used: {error.orig}") from error
        except OSError as error:
            if error.errno is None or error.filename is None:
                raise
            remedy = "name another folder or file, or give this user the right to it"
            raise click.ClickException(f"{error.filename}: {error.strerror}; {remedy}") from error


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="retake-ledger")
def main() -> None:
    """Record hand-offs, notes and retakes; ask what a retake moves.

    With nothing configured the service keeps its data in a PostgreSQL of its own, in the folder
    RETAKE_LEDGER_DATA. RETAKE_LEDGER_DATABASE_URL names another server.
    """


@main.command("migrate")
def migrate_command() -> None:
    """Bring the database up to this release, as its owner."""
    settings = read_settings()
    try:
        if settings.owner_database_url is None:
            migrate(embedded.ensure_running(settings.data))
        else:
            migrate(settings.owner_database_url, settings.database_url)
    except MigrationError as error:
        raise click.ClickException(str(error)) from error


@main.group("studio")
def studio_group() -> None:
    """Make studios and list them."""


@studio_group.command("make")
@click.argument("name")
@click.option(
    "--clock",
    type=click.Choice(["real", "simulated"]),
    default="real",
    show_default=True,
    help="Fixed for good; a simulated one is moved forward by an office token.",
)
@click.option("--clock-at", help="Where a simulated clock begins (RFC 3339).")
@click.option("--title", help="The studio's own name, as it stands on quotations.")
def studio_make(name: str, clock: studios.Clock, clock_at: str | None, title: str | None) -> None:
    """Make a studio: one log, one set of departments."""
    try:
        clock_at_us = None if clock_at is None else parse_instant(clock_at)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--clock-at") from error
    if (clock == "simulated") != (clock_at_us is not None):
        raise click.UsageError(
            "--clock-at is said with --clock simulated, and only then: add one or leave out both"
        )
    if title is not None and not (title.strip() and title.isprintable() and len(title) <= 200):
        raise click.BadParameter("write 1 to 200 printable characters", param_hint="--title")
    settings = read_settings()
    with engine_of(settings) as engine, engine.begin() as connection:
        try:
            studios.make_studio(
                connection, name, clock, clock_at_us, title, seal_key=seal_key_of(settings)
            )
        except ValueError as error:
            raise click.ClickException(str(error)) from error
    click.echo(name)


@studio_group.command("list")
def studio_list() -> None:
    """List the studios with the kind of their clocks."""
    with engine_of(read_settings()) as engine, engine.begin() as connection:
        for found in studios.list_studios(connection):
            made_at = format_instant(found.made_at_us)
            click.echo(f"{found.studio}\t{found.clock}\t{made_at}\t{found.title}")


@main.group("token")
def token_group() -> None:
    """Issue, list and revoke bearer tokens."""


@token_group.command("issue")
@click.option("--studio", required=True)
@click.option("--role", required=True, type=click.Choice([role.value for role in Role]))
@click.option("--name", required=True, help="Shown with what it posts: a desk, not a person.")
@click.option("--department", "departments", multiple=True, help="A desk's; may be repeated.")
@click.option(
    "--source", "source_prefix", required=True, help="It posts as this source and those beneath it."
)
def token_issue(
    studio: str, role: str, name: str, departments: tuple[str, ...], source_prefix: str
) -> None:
    """Issue a token and print it; it is not stored and cannot be shown again."""
    if (role == Role.DESK) != bool(departments):
        raise click.UsageError(
            "--department is said with --role desk, and only then: add one or leave out both"
        )
    for department in departments:
        if re.fullmatch(DEPARTMENT, department, re.ASCII) is None:
            raise click.BadParameter(
                f"{department!r} is no department: write lower-case words joined by hyphens",
                param_hint="--department",
            )
    with engine_of(read_settings()) as engine, engine.begin() as connection:
        if studios.find_studio(connection, studio) is None:
            raise click.ClickException(str(UnknownStudioError(studio)))
        try:
            token_id, secret = tokens.issue(
                connection, studio, name, role, departments, source_prefix, datetime.now(UTC)
            )
        except tokens.PrefixError as error:
            raise click.BadParameter(str(error), param_hint="--source") from None
    click.echo(f"{token_id}\t{secret}")


@token_group.command("list")
@click.option("--studio", required=True)
def token_list(studio: str) -> None:
    """List a studio's tokens, never their secrets."""
    with engine_of(read_settings()) as engine, engine.begin() as connection:
        for issued in tokens.list_tokens(connection, studio):
            token = issued.token
            ended = "revoked" if issued.revoked_at_us is not None else "valid"
            since = format_instant(issued.issued_at_us)
            own = ",".join(token.departments) or "-"
            click.echo(
                f"{token.token_id}\t{token.role}\t{token.name}\t{own}\t{token.source_prefix}\t{ended}\t{since}"
            )


@token_group.command("revoke")
@click.option("--studio", required=True)
@click.argument("token_id")
def token_revoke(studio: str, token_id: str) -> None:
    """Revoke a token for good."""
    with engine_of(read_settings()) as engine, engine.begin() as connection:
        if not tokens.revoke(connection, studio, token_id, datetime.now(UTC)):
            raise click.ClickException(f"{studio} has no valid token {token_id}")
    click.echo(f"{token_id}\trevoked")


@main.command("rebuild")
@click.option("--studio", required=True, help="Whose trail is built again.")
@click.option(
    "--processes", type=click.IntRange(1, 64), help="How many build it; as many as cores."
)
def rebuild_command(studio: str, processes: int | None) -> None:
    """Clear what follows from a studio's log, the trail of its dates, and build it again.

    A service may go on meanwhile: whoever asks for the trail is told to ask again.
    """
    settings = read_settings()
    with engine_of(settings) as engine:
        from service.projections.rebuilding import rebuild  # noqa: PLC0415  # after the cache folder is said

        with engine.connect() as connection:
            if studios.find_studio(connection, studio) is None:
                raise click.ClickException(str(UnknownStudioError(studio)))
        try:
            rebuilt = rebuild(
                engine, studio, settings, processes=processes, seal_key=seal_key_of(settings)
            )
        except BrokenExecutor as error:
            raise click.ClickException(
                "one of the processes ended, for want of memory perhaps: say fewer with"
                " --processes; what was built stands, and a service builds the rest"
            ) from error
    click.echo(
        f"{rebuilt.rows:,} rows of {rebuilt.position:,} events in {rebuilt.took_s:,.1f} s; "
        f"{rebuilt.head - rebuilt.position:,} events of a minute that is not over wait"
    )


@main.command("stop")
def stop_command() -> None:
    """Stop the embedded server of this data folder, where one was left that no command uses."""
    stopped = embedded.stop(read_settings().data, unless_used_s=UNUSED_S)
    click.echo("stopped" if stopped else "none was running")


@main.command("demo")
@click.option("--json", "as_json", is_flag=True, help="Print the impact alone, as JSON.")
@click.option("--serve", "stay", is_flag=True, help="Stay up afterwards.")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    help=f"Left out: {DEFAULT_PORT}, or the next one that is free.",
)
def demo_command(as_json: bool, stay: bool, port: int | None) -> None:
    """Post a whole invented studio, call a retake, and show what it moves."""
    settings = read_settings()
    with database_of(settings) as url:
        from service.demo import run_demo  # noqa: PLC0415  # after the cache folder is said

        run_demo(settings, url, asked_port=port, as_json=as_json, stay=stay)


if __name__ == "__main__":
    main()
