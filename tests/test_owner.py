"""The owner's command, as it is typed."""

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import Engine

from service.cli import main
from tests import recording
from tests.conftest import Database
from tests.recording import NAME, fact, posted, worker
from tests.telling import office_facts

NOTE = fact("note.given", "KESTREL-1/1", {"note": "N1", "to": "layout", "text": "Left."}, id="n")


def typed(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["erase-text", "--studio", NAME, *arguments])


@pytest.fixture
def last(engine: Engine, database: Database, monkeypatch: pytest.MonkeyPatch) -> int:
    """The position of a note."""
    recording.make(engine)
    studio = worker(engine)
    posted(studio, office_facts(scenes=1), role="office")
    (receipt,) = posted(studio, [NOTE])
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_OWNER_DATABASE_URL", database.owner_url)
    return receipt.position


def test_it_tells_where_the_record_of_it_is(last: int) -> None:
    result = typed("--position", str(last), "--why", "Request 12", "--by", "office")
    assert (result.exit_code, result.output) == (
        0,
        f"texts erased: 1; recorded at position {last + 1}\n",
    )
    again = typed("--position", str(last), "--why", "Request 12", "--by", "office")
    assert again.exit_code == 1
    assert f"no personal text at {last}" in again.output


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--position", "0", "--why", "W", "--by", "office"], "--position"),
        (["--position", "1", "--why", "W" * 121, "--by", "office"], "--why"),
        (["--position", "1", "--why", "W", "--by", "Jane Doe"], "--by"),
        (["--position", "1", "--why", "W"], "--by"),
        (["--why", "W", "--by", "office"], "--position"),
    ],
)
def test_what_could_not_be_recorded_is_refused(
    last: int, arguments: list[str], message: str
) -> None:
    result = typed(*arguments)
    assert result.exit_code == 2
    assert message in result.output


def test_a_studio_that_was_never_made(last: int) -> None:
    words = ["--position", "1", "--why", "W", "--by", "office"]
    result = CliRunner().invoke(main, ["erase-text", "--studio", "nowhere", *words])
    assert result.exit_code == 1
    assert "there is no studio nowhere" in result.output
