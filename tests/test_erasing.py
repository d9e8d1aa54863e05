"""Personal text is erased: gone everywhere, recorded, and the record still proves itself."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from service.feeds.exports import CHECKPOINT, CONTENTS, PERSONAL, export
from service.intake.exported import read_signed_checkpoint
from service.intake.importing import Aim, take_in
from service.intake.verifying import verify_export
from service.log.append import UnknownStudioError, read_head
from service.log.engine import owner_engine
from service.log.read import bodies, page, personal_at
from service.log.snapshots import write_snapshot
from service.production.refusal import Code, Refusal
from service.production.snapshot import freeze
from service.proofs.tree import Frontier, append, leaf_hash
from service.record import ErasingError, OpenStudio, erase_text
from service.vocabulary.event import read_event
from service.vocabulary.facts.record import TextForgotten
from tests import recording
from tests.conftest import Database
from tests.recording import NAME, SEAL_KEY, fact, post, posted, worker
from tests.telling import office_facts

RARE_WORD = "Xylographer"  # it occurs nowhere else
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/paper"


@pytest.fixture
def studio(engine: Engine) -> OpenStudio:
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    return opened


@pytest.fixture
def owner(database: Database) -> Iterator[Engine]:
    engine = owner_engine(database.owner_url)
    yield engine
    engine.dispose()


def note(number: int, word: str = RARE_WORD, **more: Any) -> dict[str, Any]:
    data = {"note": f"N{number}", "to": "layout", "text": f"{word} {number}", **more}
    return fact("note.given", "KESTREL-1/1", data, id=f"n{number}")


def everywhere(owner: Engine, word: str) -> set[str]:
    """The tables that hold a text, in whatever column."""
    query = text("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
    found = set()
    with owner.connect() as connection:
        for table in connection.execute(query).scalars().all():
            read = text(f'SELECT t::text FROM "{table}" t')  # noqa: S608  # names from the server
            rows = connection.execute(read).scalars()
            if any(word in row or word.encode().hex() in row for row in rows):
                found.add(table)
    return found


def stored(engine: Engine, position: int) -> tuple[bytes, bytes | None]:
    with engine.connect() as connection:
        (one,) = page(connection, NAME, after=position - 1, limit=1)
        return one.body, dict(personal_at(connection, NAME, [position])).get(position)


def test_the_text_is_gone_from_every_table_and_its_commitment_stays(
    studio: OpenStudio, engine: Engine, owner: Engine
) -> None:
    mood = {"mood": f"{RARE_WORD} again"}
    first, second, third = posted(studio, [note(1), note(2), note(3, "Other", **mood)])
    view = studio.view()
    with engine.begin() as connection:
        assert write_snapshot(connection, NAME, view.position, freeze(view.state, {}), 1, SEAL_KEY)
    assert everywhere(owner, RARE_WORD) == {"personal"}
    before = {one.position: stored(engine, one.position)[0] for one in (first, second, third)}
    erasure = erase_text(
        owner, NAME, [third.position, first.position], "office", "Art. 17, request 12"
    )
    assert erasure.positions == (first.position, third.position)
    assert erasure.position == third.position + 1
    assert stored(engine, second.position)[1] is not None
    for position, body in before.items():
        assert stored(engine, position)[0] == body
        assert orjson.loads(body)["personal"]
    erase_text(owner, NAME, [second.position], "office", "Art. 17, request 13")
    assert everywhere(owner, RARE_WORD) == set()
    assert studio.view().state.notes == worker(engine).view().state.notes


def test_it_is_recorded_by_whose_order_and_why(
    studio: OpenStudio, engine: Engine, owner: Engine
) -> None:
    (receipt,) = posted(studio, [note(1)])
    erasure = erase_text(owner, NAME, [receipt.position], "data-protection", "Art. 17")
    body, personal = stored(engine, erasure.position)
    event = read_event(body)
    assert personal is None
    assert event.fact == TextForgotten((receipt.position,), "data-protection", "Art. 17")
    assert (event.subject, event.poster, event.role) == ("studio", "owner", "owner")
    assert "cause" not in orjson.loads(body)  # which is an approval's to have
    # the tree goes on, and a worker that was warm folds it like one that starts anew
    with engine.connect() as connection:
        head = read_head(connection, NAME)
        log = bodies(connection, NAME, 0)
    frontier: Frontier = ()
    for position, one in log:
        _, frontier = append(frontier, position - 1, leaf_hash(one))
    assert (head.position, head.frontier) == (erasure.position, frontier)
    assert studio.view().state == worker(engine).view().state
    (after,) = posted(studio, [note(2)])
    assert after.position == erasure.position + 1


def test_a_repeat_still_gets_its_first_receipt(studio: OpenStudio, owner: Engine) -> None:
    (first,) = posted(studio, [note(1)])
    other = post(studio, [note(1, "Otherwise")])
    assert isinstance(other, Refusal)
    erase_text(owner, NAME, [first.position], "office", "Art. 17")
    assert posted(studio, [note(1)]) == (first._replace(repeated=True),)
    # what the text was cannot be compared any more; which members there were can
    assert posted(studio, [note(1, "Otherwise")]) == (first._replace(repeated=True),)
    more = post(studio, [note(1, mood="grey")])
    assert isinstance(more, Refusal)
    assert {reason.code for reason in more.reasons} == {Code.ID_REUSED}


def test_all_or_nothing(studio: OpenStudio, engine: Engine, owner: Engine) -> None:
    (first,) = posted(studio, [note(1)])
    for positions in ([first.position, 1], [first.position, 999], [999], []):
        with pytest.raises(ErasingError):
            erase_text(owner, NAME, positions, "office", "Art. 17")
    with pytest.raises(UnknownStudioError):
        erase_text(owner, "nowhere", [1], "office", "Art. 17")
    assert stored(engine, first.position)[1] is not None
    assert studio.view().position == first.position
    erase_text(owner, NAME, [first.position], "office", "Art. 17")
    with pytest.raises(ErasingError, match=rf"no personal text at {first.position}"):
        erase_text(owner, NAME, [first.position], "office", "Art. 17")


def test_what_cannot_be_recorded_is_not_removed(
    studio: OpenStudio, engine: Engine, owner: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    (first,) = posted(studio, [note(1)])

    def fail(*_: object, **_more: object) -> None:
        raise RuntimeError("the log is full")

    monkeypatch.setattr("service.log.chain.append_rows", fail)
    with pytest.raises(RuntimeError):
        erase_text(owner, NAME, [first.position], "office", "Art. 17")
    assert stored(engine, first.position)[1] is not None


def test_the_services_role_cannot_erase_text(studio: OpenStudio, engine: Engine) -> None:
    (first,) = posted(studio, [note(1)])
    with pytest.raises(DBAPIError, match="permission denied"):
        erase_text(engine, NAME, [first.position], "office", "Art. 17")


@pytest.mark.parametrize("role", ["office", "supervisor", "producer", "desk"])
def test_nobody_posts_that_text_was_forgotten(studio: OpenStudio, role: str) -> None:
    data = {"positions": [1], "by": "office", "ground": "Art. 17"}
    answer = post(studio, [fact("text.forgotten", "studio", data, id="f")], role=role)
    assert isinstance(answer, Refusal)
    (reason,) = answer.reasons
    assert reason.code == Code.FORBIDDEN
    assert "retake-ledger erase-text" in reason.detail


def test_nobody_strikes_that_text_was_forgotten(studio: OpenStudio, owner: Engine) -> None:
    (first,) = posted(studio, [note(1)])
    erasure = erase_text(owner, NAME, [first.position], "office", "Art. 17")
    data = {"position": erasure.position, "why": "No."}
    struck = post(studio, [fact("event.struck", "studio", data, id="s")])
    assert isinstance(struck, Refusal)
    # the forgotten event itself can be
    data = {"position": first.position, "why": "No."}
    assert posted(studio, [fact("event.struck", "studio", data, id="s")])


def test_an_export_afterwards_goes_on_from_a_checkpoint_before(
    studio: OpenStudio, engine: Engine, owner: Engine, tmp_path: Path
) -> None:
    first, second = posted(studio, [note(1), note(2)])
    list(export(engine, NAME, tmp_path / "old", ORIGIN, SECRET, personal=True))
    erase_text(owner, NAME, [first.position], "office", "Art. 17")
    list(export(engine, NAME, tmp_path / "new", ORIGIN, SECRET, personal=True))
    kept = read_signed_checkpoint(tmp_path / "old" / CHECKPOINT, ())
    size, found, _ = verify_export(tmp_path / "new", [kept], against=tmp_path / "old")
    assert (size, found) == (second.position + 1, None)
    texts = (tmp_path / "new" / PERSONAL).read_text()
    assert f"{RARE_WORD} 2" in texts
    assert f"{RARE_WORD} 1" not in texts


def test_a_snapshot_has_no_place_for_text(studio: OpenStudio) -> None:
    posted(studio, [note(1, mood=RARE_WORD)])
    held = fact("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": "2031-03-12",
                                              "why": RARE_WORD}, id="h")  # fmt: skip
    posted(studio, [held])
    parts = b"".join(freeze(studio.view().state, {}))
    assert b"KESTREL-1/1" in parts
    assert RARE_WORD.encode() not in parts


def test_a_record_can_be_taken_in_elsewhere_after_its_text_was_erased(
    studio: OpenStudio, engine: Engine, owner: Engine, tmp_path: Path
) -> None:
    first, second = posted(studio, [note(1), note(2)])
    erase_text(owner, NAME, [first.position], "office", "Art. 17")
    list(export(engine, NAME, tmp_path / "out", ORIGIN, SECRET, personal=True))
    lines = (tmp_path / "out" / CONTENTS).read_text().splitlines()
    assert [int(line.split()[0]) for line in lines] == [first.position, second.position]
    list(take_in(engine, Aim("taken", "simulated"), tmp_path / "out"))
    with engine.connect() as connection:
        assert bodies(connection, "taken", 0) == bodies(connection, NAME, 0)
        assert list(dict(personal_at(connection, "taken", [first.position, second.position]))) == [
            second.position
        ]
