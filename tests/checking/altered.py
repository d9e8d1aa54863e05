"""A studio with everything that is stored beside a record, and ways to alter it unseen."""

from collections.abc import Callable

from sqlalchemy import Connection, Engine, text

from service.checking.findings import Kind
from service.log.snapshots import latest_snapshot, write_snapshot
from service.production.snapshot import freeze, thaw
from service.projections.walking import Walker
from service.record import OpenStudio, erase_text
from tests import recording
from tests.conftest import Database
from tests.guards import without_guard
from tests.recording import NAME, SEAL_KEY, fact, posted, set_clock, worker
from tests.telling import office_facts
from tests.workers import tell_with_strikes

SNAPSHOT_AT = 24
ERASED, LAST_TEXT = 2, 4
"""Of the notes, by number: one whose text was erased, and the last one that has its own."""


def note(number: int) -> dict[str, object]:
    data = {"note": f"N{number}", "to": "layout", "text": f"Moon {number} is too low."}
    return fact("note.given", "KESTREL-1/1", data, id=f"note-{number}")


def tell_all(engine: Engine, owner: Engine) -> dict[int, int]:
    """Record strikes, notes (one of them erased), a snapshot, a trail; positions by note."""
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    tell_with_strikes(opened)
    write_snapshot_at(engine, opened, SNAPSHOT_AT)
    set_clock(engine, "2031-03-04T09:00:00Z")
    at = {number: posted(opened, [note(number)])[0].position for number in range(1, LAST_TEXT + 1)}
    erase_text(owner, NAME, [at[ERASED]], "office", "Request 12")
    set_clock(engine, "2031-03-06T15:00:00Z")
    with engine.connect() as connection:
        while not Walker(opened.warm, engine).piece(connection, 100.0).done:
            pass
    return at


def write_snapshot_at(engine: Engine, opened: OpenStudio, position: int) -> None:
    opened.view()
    state, struck = (
        opened.warm.history.as_known_at(position),
        opened.warm.history.strikes_at(position),
    )
    with engine.begin() as connection:
        parts = freeze(state, struck)
        assert write_snapshot(connection, NAME, position, parts, 1, SEAL_KEY)


Attack = Callable[[Connection], None]


def altering(database: Database, attack: Attack) -> None:
    """Do what the owner of the tables can do in spite of the guards."""
    with without_guard(database) as owner:
        attack(owner)


def _by(statement: str) -> Attack:
    def attack(owner: Connection) -> None:
        assert owner.execute(text(statement)).rowcount

    return attack


def snapshot_of_another_state(owner: Connection) -> None:
    """Well formed, its own digest made anew: a state in which nothing was ever held."""
    found = latest_snapshot(owner, NAME, SNAPSHOT_AT, SEAL_KEY)
    assert found is not None
    thawed = thaw(found.parts)
    maps = {name: getattr(thawed.state, name) for name in type(thawed.state).__slots__}
    other = type(thawed.state)({**maps, "marks": thawed.state.marks.set(1, ("late",))})
    parts = list(freeze(other, thawed.struck))
    owner.execute(
        text("UPDATE snapshot SET parts = :parts, digest = :digest"),
        {"parts": parts, "digest": parts[-1]},
    )


ALTERED: dict[str, tuple[Attack, Kind]] = {
    "snapshot": (snapshot_of_another_state, Kind.SNAPSHOT),
    "trail row": (_by("UPDATE trail SET after_min = after_min + 60 WHERE number = 1"), Kind.TRAIL),
    "trail cause": (_by("UPDATE trail SET retake = 'R9' WHERE number = 1"), Kind.TRAIL),
    "trail row gone": (_by("DELETE FROM trail WHERE number = 1"), Kind.TRAIL),
    "trail row more": (
        _by(
            "INSERT INTO trail (studio, episode, number, at_min, position, cause) "
            "SELECT studio, episode, max(number) + 1, 1, 1, 'time' FROM trail GROUP BY 1, 2"
        ),
        Kind.TRAIL,
    ),
    "trail set back": (_by("UPDATE projection SET position = position - 1"), Kind.TRAIL),
    **{
        column: (_by(f"UPDATE event SET {column} = {value} WHERE position = 25"), Kind.COLUMNS)  # noqa: S608  # ours
        for column, value in (
            ("type", "'note.answered'"),
            ("subject", "'KESTREL-1/3'"),
            ("department", "'paint'"),
            ("time_at", "time_at - interval '1 day'"),
            ("recorded_at", "recorded_at + interval '1 microsecond'"),
            ("source", "'/others'"),
            ("id", "'another'"),
            ("poster", "'another'"),
            ("content_hash", "sha256(content_hash)"),
        )
    },
    "clock set forward": (_by("UPDATE head SET clock_at = '2199-01-01'"), Kind.CLOCK),
    "clock set back": (_by("UPDATE head SET clock_at = '2031-03-01'"), Kind.CLOCK),
    "clock without seal": (
        _by("UPDATE head SET clock_at = clock_at + interval '1 hour', clock_seal = NULL"),
        Kind.CLOCK,
    ),
    "clock called real": (_by("UPDATE studio SET clock = 'real'"), Kind.CLOCK),
    "text deleted": (
        _by("DELETE FROM personal WHERE position = (SELECT max(position) FROM personal)"),
        Kind.MISSING_TEXT,
    ),
    "text altered": (
        _by("UPDATE personal SET content = convert_to('{\"/data/text\":\"No.\"}', 'UTF8')"),
        Kind.TEXT,
    ),
    "head": (_by("UPDATE head SET frontier = substr(frontier, 33)"), Kind.HEAD),
    "hashes": (_by("UPDATE event SET nodes = nodes || nodes WHERE position = 7"), Kind.HASHES),
    "bytes": (_by("UPDATE event SET body = body || ' ' WHERE position = 7"), Kind.RECORD),
    "checkpoint": (
        _by(
            "INSERT INTO checkpoint SELECT studio, 0, '\\x00000000', now(), "
            "E'kestrel.example/paper\\n0\\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\\n', "
            "'— kestrel.example/paper ' || "
            "translate(encode(sha256(studio::bytea) || sha256('x') || "
            "substr(sha256('y'), 1, 4), 'base64'), E'\\n', '') FROM studio"
        ),
        Kind.CHECKPOINT,
    ),
}
"""Every way in which what is stored can lie, and what it is found as."""
