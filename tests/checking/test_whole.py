"""What is stored beside a record was altered: found when it is compared with the record."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.pool import NullPool

from service.checking import Kind
from service.cli import main
from service.keys import ensure_keys
from tests.checking.altered import ALTERED, ERASED, LAST_TEXT, altering, tell_all
from tests.conftest import Database
from tests.recording import NAME, SEAL_KEY, worker

# what mending leaves as it is, since it follows from nothing else
NOT_DERIVED = {"text deleted", "text altered", "bytes", "checkpoint"}


@pytest.fixture
def notes(
    engine: Engine, database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> dict[int, int]:
    """The studio with everything, the commands set up for it; positions of its notes."""
    folder = tmp_path / "keys"
    ensure_keys(folder)
    seals = folder / "seals.key"
    seals.write_text(SEAL_KEY.hex())
    seals.chmod(0o600)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(folder))
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", database.service_url)
    monkeypatch.setenv("RETAKE_LEDGER_OWNER_DATABASE_URL", database.owner_url)
    owner = create_engine(database.owner_url, poolclass=NullPool)
    return tell_all(engine, owner)


def verified(*more: str) -> Result:
    return CliRunner().invoke(main, ["verify", "--all", *more])


def test_of_an_honest_studio_nothing_is_found(notes: dict[int, int], engine: Engine) -> None:
    result = verified()
    assert result.exit_code == 0, result.output
    size = max(notes.values()) + 1
    words = "all that is stored beside them, follow from the record; checkpoints that agree: 0"
    assert result.output.endswith(f"{NAME}: {size} events, and {words}\n")
    with engine.connect() as connection:
        for table, least in (("snapshot", 1), ("trail", 1), ("personal", LAST_TEXT - 1)):
            count = connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one()  # noqa: S608  # ours
            assert count >= least, table
    assert verified("--studio", NAME).exit_code == 0
    assert "there is no studio nowhere" in verified("--studio", "nowhere").output


def test_what_is_put_right_is_what_was_there(
    notes: dict[int, int], engine: Engine, database: Database
) -> None:
    """A clock's kind from its seal; and no hash is made from text that was altered."""

    def stored() -> list[object]:
        with engine.connect() as connection:
            kinds = connection.execute(text("SELECT studio, clock FROM studio")).all()
            hashes = "SELECT position, content_hash FROM event ORDER BY position"
            return [kinds, connection.execute(text(hashes)).all()]

    before = stored()
    for way in ("clock called real", "text altered"):
        altering(database, ALTERED[way][0])
    assert CliRunner().invoke(main, ["mend", "--studio", NAME]).exit_code == 0
    assert stored() == before


@pytest.mark.parametrize("way", ALTERED)
def test_whatever_lies_is_found_and_what_follows_is_put_right(
    notes: dict[int, int], engine: Engine, database: Database, way: str
) -> None:
    attack, kind = ALTERED[way]
    altering(database, attack)
    result = verified()
    assert result.exit_code == 1, result.output
    assert f"{NAME}: NOT what follows from the record: {kind}: position " in result.output
    mended = CliRunner().invoke(main, ["mend", "--studio", NAME])
    if way in {"bytes", "checkpoint"}:
        assert (mended.exit_code == 1) == (way == "bytes"), mended.output
    else:
        assert mended.exit_code == 0, mended.output
    again = verified()
    assert (again.exit_code == 1) == (way in NOT_DERIVED), again.output


def test_the_position_of_the_first_difference_is_reported(
    notes: dict[int, int], database: Database
) -> None:
    def alter(owner: Connection) -> None:
        subject = "UPDATE event SET subject = 'KESTREL-1/2' WHERE position IN (12, 25)"
        owner.execute(text(subject))

    altering(database, alter)
    output = verified().output
    assert "columns: position 12: subject beside it: not what its bytes say" in output
    assert "position 25" not in output


def test_text_that_an_event_says_was_erased_is_not_missing_and_must_be_gone(
    notes: dict[int, int], database: Database
) -> None:
    assert "missing" not in verified().output
    lost = notes[LAST_TEXT]

    def swap(owner: Connection) -> None:
        owner.execute(
            text("UPDATE personal SET position = :erased WHERE position = :lost"),
            {"erased": notes[ERASED], "lost": lost},
        )

    altering(database, swap)
    output = verified().output
    assert f"missing text: position {lost}: " in output
    assert f"text: position {notes[ERASED]}: " in output


def test_a_worker_does_not_start_from_a_snapshot_that_was_not_sealed(
    notes: dict[int, int], engine: Engine, database: Database
) -> None:
    """The attack: a well-formed snapshot of another state, its own digest made anew."""
    honest = worker(engine).view().state
    altering(database, ALTERED["snapshot"][0])
    assert worker(engine).view().state == honest
    assert Kind.SNAPSHOT in verified().output
