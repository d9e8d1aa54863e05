"""An export taken into a new studio: it must come to what it was, or nothing may be kept."""

from base64 import b64encode
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

import orjson
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Connection, Engine, select

from service.checking.record import check_record
from service.feeds.exports import CHECKPOINT, CONTENTS, EVENTS, NODES, PERSONAL, export
from service.intake.exported import ExportedError, read_leaves, read_signed_checkpoint
from service.intake.importing import Aim, ImportedError, Taken, take_in
from service.intake.verifying import verify_export
from service.log import schema
from service.log.append import UnknownStudioError, read_head
from service.log.read import bodies
from service.log.studios import StudioExistsError, StudioNameError, find_studio
from service.log.tree import read_root
from service.production.refusal import Code, Refusal
from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import Note, public_key, sign
from service.proofs.tree import append, leaf_hash, root
from service.record import Studios
from service.vocabulary.instants import parse_instant
from tests import recording
from tests.attacks.prices import without_salt
from tests.recording import NAME, fact, post, posted, set_clock, worker
from tests.telling import office_facts
from tests.workers import tell_with_strikes

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/paper"
KEY = public_key(ORIGIN, SECRET)
TAKEN = "taken"
AIM = Aim(TAKEN, "simulated")
NOTE = fact(
    "note.given", "KESTREL-1/1", {"note": "N-1", "to": "layout", "text": "Moon too low."}, id="note"
)

LATE = (
    ("work.started", "2031-03-05T09:00:00Z"),
    ("hand-off.made", "2031-03-05T11:00:00Z"),
)


@pytest.fixture
def recorded(engine: Engine) -> Engine:
    """A studio whose record has strikes, facts told late, and personal text."""
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    tell_with_strikes(opened)
    posted(opened, [NOTE])
    set_clock(engine, "2031-03-05T12:00:00Z")
    for number, (type_, at) in enumerate(LATE):
        late_fact = fact(type_, "KESTREL-1/3", {"department": "layout"}, id=f"late-{number}", at=at)
        posted(opened, [late_fact])
    return engine


def exported(engine: Engine, folder: Path, *, personal: bool = True, studio: str = NAME) -> Path:
    list(export(engine, studio, folder, ORIGIN, SECRET, personal=personal))
    return folder


def rows_of(connection: Connection, studio: str) -> list[tuple[object, ...]]:
    """The events and the personal text of a studio, column by column, without its name."""
    found: list[tuple[object, ...]] = []
    for table in (schema.event, schema.personal):
        columns = [column for column in table.c if column.name != "studio"]
        query = select(*columns).where(table.c.studio == studio).order_by(table.c.position)
        found += [tuple(row) for row in connection.execute(query)]
    return found


def signed_anew(folder: Path, bodies: list[bytes]) -> None:
    """Write other events into an export, with hashes and a checkpoint that agree with them."""
    frontier: tuple[bytes, ...] = ()
    nodes = []
    for size, body in enumerate(bodies):
        completed, frontier = append(frontier, size, leaf_hash(body))
        nodes.append(b64encode(completed).decode() + "\n")
    (folder / EVENTS).write_bytes(b"".join(body + b"\n" for body in bodies))
    (folder / NODES).write_text("".join(nodes))
    text = str(Checkpoint(ORIGIN, len(bodies), root(frontier)))
    (folder / CHECKPOINT).write_text(str(Note(text, (sign(text, ORIGIN, SECRET),))))


def assert_nothing_kept(engine: Engine) -> None:
    with engine.connect() as connection:
        assert find_studio(connection, TAKEN) is None
        assert rows_of(connection, TAKEN) == []
        with pytest.raises(UnknownStudioError):
            read_head(connection, TAKEN)


def test_the_same_rows_leaves_root_and_fold(recorded: Engine, tmp_path: Path) -> None:
    folder = exported(recorded, tmp_path / "out")
    progress = list(take_in(recorded, AIM, folder, keys=(KEY,)))
    with recorded.connect() as connection:
        was, head = read_head(connection, NAME), read_head(connection, TAKEN)
        assert rows_of(connection, TAKEN) == rows_of(connection, NAME)
        assert read_root(connection, TAKEN, head.position) == root(was.frontier)
    # the clock begins where the record ends
    assert head == was._replace(clock_at_us=was.recorded_at_us)
    assert progress[-1] == Taken(was.position, was.position, 0)
    again = exported(recorded, tmp_path / "again", studio=TAKEN)
    for file in (EVENTS, NODES, PERSONAL, CONTENTS):
        assert (again / file).read_bytes() == (folder / file).read_bytes()
    original, other = worker(recorded).view(), Studios(recorded).of(TAKEN).view()
    assert other.state == original.state
    assert read_leaves(again) == read_leaves(folder)


def test_chunk_by_chunk(recorded: Engine, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    assert len(list(export(recorded, NAME, folder, ORIGIN, SECRET, personal=True, at_once=7))) > 4
    assert len(list(take_in(recorded, AIM, folder, at_once=7))) > 4
    with recorded.connect() as connection:
        assert rows_of(connection, TAKEN) == rows_of(connection, NAME)


@pytest.mark.parametrize("personal", [True, False])
def test_posting_goes_on_and_repeats_are_recognised(
    recorded: Engine, tmp_path: Path, personal: bool
) -> None:
    folder = exported(recorded, tmp_path / "out", personal=personal)
    list(take_in(recorded, AIM, folder))
    original, taken = worker(recorded), Studios(recorded).of(TAKEN)
    # tokens are not part of a record: the new studio has those of the old one's test here
    with recorded.begin() as connection:
        for token in connection.execute(select(schema.token)).mappings().all():
            new = {**token, "studio": TAKEN, "token_hash": bytes(reversed(token["token_hash"]))}
            connection.execute(schema.token.insert().values(new))
    (first,) = posted(original, [NOTE])
    (again,) = posted(taken, [NOTE])
    assert again == first
    assert again.repeated
    changed = post(taken, [{**NOTE, "subject": "KESTREL-1/2"}])
    assert isinstance(changed, Refusal)
    assert changed.reasons[0].code is Code.ID_REUSED
    (after,) = posted(
        taken, [fact("work.started", "KESTREL-1/2", {"department": "layout"}, id="n")]
    )
    with recorded.connect() as connection:
        # one says that the texts did not come along
        assert after.position == read_head(connection, NAME).position + (1 if personal else 2)


def test_texts_that_did_not_come_along_are_known_to_be_missing(
    recorded: Engine, tmp_path: Path
) -> None:
    folder = exported(recorded, tmp_path / "out", personal=False)
    *_, last = take_in(recorded, AIM, folder)
    with recorded.connect() as connection:
        was, head = read_head(connection, NAME), read_head(connection, TAKEN)
        assert head.position == was.position + 1
        assert read_root(connection, TAKEN, was.position) == root(was.frontier)
        texts = rows_of(connection, NAME)[was.position :]
        assert last == Taken(was.position, was.position, len(texts))
        assert not check_record(connection, TAKEN).findings
        ((_, body),) = bodies(connection, TAKEN, was.position)
    said = orjson.loads(body)
    assert said["type"] == "text.forgotten"
    assert len(said["data"]["positions"]) == len(texts)
    again = exported(recorded, tmp_path / "again", studio=TAKEN)
    *_, last = take_in(recorded, Aim("once-more", "simulated"), again)
    assert last.texts_missing == 0


def test_a_record_that_ends_in_the_future_is_not_taken_into_a_real_clock(
    recorded: Engine, tmp_path: Path
) -> None:
    folder = exported(recorded, tmp_path / "out")
    before = parse_instant("2031-03-05T11:58:59Z")
    with pytest.raises(ImportedError, match=r"still to come: .*--clock simulated"):
        list(take_in(recorded, Aim(TAKEN), folder, clock_us=lambda: before))
    assert_nothing_kept(recorded)


def _edit(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines(keepends=True)
    lines[8] = lines[8].replace(b'"poster"', b'"Poster"')
    (folder / EVENTS).write_bytes(b"".join(lines))


def _drop_last(folder: Path) -> None:
    for file in (EVENTS, NODES):
        lines = (folder / file).read_bytes().splitlines(keepends=True)
        (folder / file).write_bytes(b"".join(lines[:-1]))


def _add_one(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines()
    checkpoint = (folder / CHECKPOINT).read_bytes()
    last = orjson.loads(lines[-1]) | {"position": len(lines) + 1, "id": "one more"}
    signed_anew(folder, [*lines, orjson.dumps(last)])
    (folder / CHECKPOINT).write_bytes(checkpoint)


def _unknown_type(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines()
    lines[4] = lines[4].replace(b'"type":"crew.set"', b'"type":"crew.sung"')
    signed_anew(folder, lines)


def _not_an_event(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines()
    lines[4] = b'{"position":5}'
    signed_anew(folder, lines)


def _recorded_earlier(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines()
    lines[-1] = lines[-1].replace(b'"recordedat":"2031', b'"recordedat":"2030')
    signed_anew(folder, lines)


def _twice(folder: Path) -> None:
    lines = (folder / EVENTS).read_bytes().splitlines()
    again = orjson.loads(lines[4]) | {"position": len(lines) + 1}
    again["recordedat"] = orjson.loads(lines[-1])["recordedat"]
    signed_anew(folder, [*lines, orjson.dumps(again, option=orjson.OPT_SORT_KEYS)])


def _other_text(folder: Path) -> None:
    path = folder / PERSONAL
    path.write_text(path.read_text().replace("Moon", "Sun"))


def _other_content(folder: Path) -> None:
    path = folder / CONTENTS
    position, _ = path.read_text().splitlines()[0].split(" ")
    path.write_text(f"{position} {b64encode(bytes(32)).decode()}\n")


def _short_content(folder: Path) -> None:
    """Of an event whose text is not there, so that its content hash follows from nothing else."""
    (folder / PERSONAL).unlink()
    path = folder / CONTENTS
    first, *others = path.read_text().splitlines()
    short = f"{first.split(' ')[0]} {b64encode(bytes(31)).decode()}"
    path.write_text("\n".join([short, *others]) + "\n")


def _no_content(folder: Path) -> None:
    (folder / PERSONAL).unlink()
    (folder / CONTENTS).unlink()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_edit, "position 9: its bytes are not those that were hashed"),
        (_drop_last, "the record ends at"),
        (_add_one, "the checkpoint in the folder covers"),
        (_unknown_type, r"crew\.sung \(position 5\)"),
        (_not_an_event, "position 5 is not an event"),
        (_recorded_earlier, "was recorded before the one before it"),
        (_twice, "the same source and id"),
        (_other_text, "its personal text is not what was committed to"),
        (_other_content, "does not say what its content hashes"),
        (_no_content, "export the record again"),
    ],
)
def test_what_is_not_what_it_was_is_refused(
    recorded: Engine, tmp_path: Path, change: Callable[[Path], None], message: str
) -> None:
    folder = exported(recorded, tmp_path / "out")
    change(folder)
    with pytest.raises(ImportedError, match=message):
        list(take_in(recorded, AIM, folder))
    assert_nothing_kept(recorded)


def test_a_content_hash_of_another_length_is_reported_as_such(
    recorded: Engine, tmp_path: Path
) -> None:
    folder = exported(recorded, tmp_path / "out")
    _short_content(folder)
    with pytest.raises(ExportedError, match=rf"{CONTENTS} holds a line .* 31 bytes"):
        list(take_in(recorded, AIM, folder))
    assert_nothing_kept(recorded)


def test_a_name_that_is_none_is_refused_before_anything_is_read(
    recorded: Engine, tmp_path: Path
) -> None:
    with pytest.raises(StudioNameError, match="such as paper-lantern"):
        list(take_in(recorded, Aim("Paper Lantern"), tmp_path / "nothing-here"))


def test_half_way_nothing_is_seen_and_nothing_stays(recorded: Engine, tmp_path: Path) -> None:
    taking = take_in(recorded, AIM, exported(recorded, tmp_path / "out"), at_once=7)
    next(taking)
    next(taking)
    assert_nothing_kept(recorded)
    taking.close()  # type: ignore[attr-defined]  # as when it is broken off
    assert_nothing_kept(recorded)


def test_studios_keys_and_clocks_that_do_not_fit(recorded: Engine, tmp_path: Path) -> None:
    folder = exported(recorded, tmp_path / "out")
    with pytest.raises(StudioExistsError):
        list(take_in(recorded, Aim(NAME, "simulated"), folder))
    before = Aim(TAKEN, "simulated", parse_instant("2031-03-04T00:00:00Z"))
    with pytest.raises(ImportedError, match="the record ends at"):
        list(take_in(recorded, before, folder))
    other = public_key("kestrel.example/other", SECRET)
    with pytest.raises(ExportedError, match="none of the keys"):
        list(take_in(recorded, AIM, folder, keys=(other,)))
    older = read_signed_checkpoint(folder / CHECKPOINT, ())
    with pytest.raises(ImportedError, match="NOT what it was: position 3"):
        list(take_in(recorded, AIM, folder, [older._replace(size=3)]))
    assert_nothing_kept(recorded)
    ended = parse_instant("2031-03-05T11:59:00Z")
    list(take_in(recorded, Aim(TAKEN), folder, clock_us=lambda: ended))
    with recorded.connect() as connection:
        assert read_head(connection, TAKEN).clock_at_us is None


@pytest.mark.parametrize("salted", [True, False])
def test_bodies_with_salts_and_those_recorded_before_them_are_taken_in_as_they_are(
    engine: Engine, tmp_path: Path, salted: bool
) -> None:
    recording.make(engine)
    with nullcontext() if salted else without_salt():
        posted(worker(engine), [*office_facts(scenes=1)], role="office")
        posted(worker(engine), [NOTE])
    posted(worker(engine), [{**NOTE, "id": "later", "data": {**NOTE["data"], "note": "N-2"}}])
    folder = exported(engine, tmp_path / "e")
    count, found, salted_from = verify_export(folder, [])
    assert (found, salted_from) == (None, 1 if salted else count)
    list(take_in(engine, AIM, folder))
    with engine.connect() as connection:
        assert rows_of(connection, TAKEN) == rows_of(connection, NAME)
