"""Reading the log: bodies, pages, and the position at an instant."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Connection, Engine, text

from service.log.append import UnknownStudioError
from service.log.read import (
    PAGE_BYTES_MAX,
    Stored,
    bodies,
    page,
    personal_at,
    position_at,
    stored_where,
    strikes,
    text_sizes_at,
)
from service.log.schema import event
from service.log.studios import make_studio
from tests.log.recording import MINUTE_US, START_US, STUDIO, record

SUBJECTS = [
    "studio",  # 1
    "OWL",
    "OWL:BG-12",
    "OWL-101",
    "OWL-101/42",  # 5
    "OWL-101/42A",
    "OWL-1010",
    "OWL-1010/42",
    "OWLET",
    "OWLET-101/42",  # 10
    "OWL.X",
    "OW",
]


@pytest.fixture
def connection(engine: Engine) -> Iterator[Connection]:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        make_studio(connection, "south", "simulated", START_US)
        record(connection, [{"subject": "OWL-101"}], studio="south")
        yield connection


def positions(found: list[Stored]) -> list[int]:
    return [stored.position for stored in found]


def test_bodies_come_in_order_between_bounds(connection: Connection) -> None:
    rows = record(connection, [{"body": b"%d" % number} for number in range(1, 9)])
    everything = [(row.position, row.body) for row in rows]
    assert bodies(connection, STUDIO, 0) == everything
    assert bodies(connection, STUDIO, 3) == everything[3:]
    assert bodies(connection, STUDIO, 3, until=6) == everything[3:6]
    assert bodies(connection, STUDIO, 3, limit=2) == everything[3:5]
    assert bodies(connection, STUDIO, 3, until=4, limit=2) == everything[3:4]
    assert bodies(connection, STUDIO, 8) == []
    assert all(type(body) is bytes for _, body in bodies(connection, STUDIO, 0))


def test_strikes_alone_are_found(connection: Connection) -> None:
    types = ("scene.omitted", "event.struck", "scene.omitted", "event.struck", "event.struck")
    rows = record(connection, [{"type": type_} for type_ in types])
    assert strikes(connection, STUDIO, 0, 5) == [rows[1].body, rows[3].body, rows[4].body]
    assert strikes(connection, STUDIO, 2, 4) == [rows[3].body]


@pytest.mark.parametrize(
    ("subject", "expected"),
    [
        ("OWL", [2, 3, 4, 5, 6, 7, 8]),
        ("OWL-101", [4, 5, 6]),
        ("OWL-101/42", [5]),
        ("OWL:BG-12", [3]),
        ("OWLET", [9, 10]),
        ("studio", [1]),
        ("OWL%", []),
        ("", []),
    ],
)
def test_a_subject_means_itself_and_what_lies_beneath(
    connection: Connection, subject: str, expected: list[int]
) -> None:
    record(connection, [{"subject": name} for name in SUBJECTS])
    assert positions(page(connection, STUDIO, after=0, limit=99, subject=subject)) == expected


def test_each_condition_narrows_the_page(connection: Connection) -> None:
    record(
        connection,
        [
            {"type": "note.given", "department": None},
            {"type": "note.given", "department": "layout"},
            {"type": "hand-off.made", "department": "camera"},
            {"type": "note.given", "department": "camera", "time_at_us": START_US},
        ],
    )

    def found(**conditions: object) -> list[int]:
        arguments = {"after": 0, "limit": 99} | conditions
        return positions(page(connection, STUDIO, **arguments))  # type: ignore[arg-type]  # by name

    assert found() == [1, 2, 3, 4]
    assert found(type="note.given") == [1, 2, 4]
    assert found(department="camera") == [3, 4]
    assert found(type="note.given", department="camera") == [4]
    assert found(time_from_us=START_US + 2 * MINUTE_US) == [2, 3]
    assert found(time_until_us=START_US + 2 * MINUTE_US) == [1, 2, 4]
    assert found(time_from_us=START_US + 1, time_until_us=START_US + MINUTE_US) == [1]
    assert found(until_position=2) == [1, 2]
    assert found(positions=[4, 1, 9]) == [1, 4]
    assert found(positions=[]) == []
    assert found(positions=range(3, 70_000)) == [3, 4]  # more than a statement has parameters
    assert found(after=1, limit=2) == [2, 3]
    assert found(after=4) == []


def test_a_page_carries_bodies(connection: Connection) -> None:
    rows = record(connection, [{}, {"salt": b"s", "personal": b'{"text":"x"}'}])
    assert page(connection, STUDIO, after=0, limit=9) == [
        Stored(1, rows[0].body),
        Stored(2, rows[1].body),
    ]


def test_a_page_ends_where_its_bodies_and_texts_are_too_many_bytes(connection: Connection) -> None:
    third = {"salt": b"s", "personal": b"x" * (PAGE_BYTES_MAX // 3)}
    whole = {"salt": b"s", "personal": b"x" * (PAGE_BYTES_MAX + 1)}
    record(connection, [third, third, third, {}, whole, {}, {"body": b"x" * 2 * PAGE_BYTES_MAX}])
    pages, after = [], 0
    while rows := page(connection, STUDIO, after=after, limit=9):
        pages.append([stored.position for stored in rows])
        after = rows[-1].position
    # three thirds and the bodies are more than a page; what is too much by itself is a page
    assert pages == [[1, 2], [3, 4], [5], [6], [7]]


def test_rows_come_with_whether_more_follow(connection: Connection) -> None:
    record(connection, [{"salt": b"s", "personal": b"x" * (PAGE_BYTES_MAX // 2)}] * 3)
    of_studio = [event.c.studio == STUDIO]
    assert [stored_where(connection, of_studio, limit).more for limit in (1, 2, 3)] == [True] * 3
    last = [*of_studio, event.c.position > 2]
    assert [stored_where(connection, last, limit).more for limit in (1, 2)] == [False] * 2
    assert stored_where(connection, [*of_studio, event.c.position > 3], 1) == ([], False)


def test_lengths_of_texts_are_read_without_the_texts(connection: Connection) -> None:
    record(connection, [{"salt": b"s", "personal": b"x" * 70_000}, {}])
    assert text_sizes_at(connection, STUDIO, [1, 2, 3]) == {1: 70_000}


def test_personal_text_is_found_by_position(connection: Connection) -> None:
    texts = [{"salt": b"s", "personal": b"%d" % number} for number in (1, 2)]
    record(connection, [*texts, {}])
    assert dict(personal_at(connection, STUDIO, [1, 2, 3, 4])) == {1: b"1", 2: b"2"}
    assert dict(personal_at(connection, STUDIO, [2])) == {2: b"2"}
    assert dict(personal_at(connection, STUDIO, [])) == {}
    assert dict(personal_at(connection, "south", [1, 2])) == {}


def test_the_position_at_an_instant_is_the_last_recorded_by_then(connection: Connection) -> None:
    instants = [10, 20, 20, 20, 30]
    record(connection, [{"recorded_at_us": START_US + at} for at in instants])
    expected = {9: 0, 10: 1, 19: 1, 20: 4, 21: 4, 30: 5, 31: 5}
    found = {at: position_at(connection, STUDIO, START_US + at) for at in expected}
    assert found == expected


def test_the_position_at_an_instant_of_an_empty_log_is_zero(connection: Connection) -> None:
    make_studio(connection, "empty", "real")
    assert position_at(connection, "empty", START_US) == 0
    with pytest.raises(UnknownStudioError, match="west"):
        position_at(connection, "west", START_US)


@pytest.mark.usefixtures("database")  # nothing is known yet of how many rows have what
def test_a_subject_is_looked_up_by_its_index(connection: Connection) -> None:
    record(connection, [{"subject": f"OWL-{number}/{number}"} for number in range(100, 900)])
    connection.execute(text("SET LOCAL enable_seqscan = off"))
    connection.execute(text("SET LOCAL enable_indexscan = off"))
    ranged = "EXPLAIN SELECT 1 FROM event WHERE studio = 'north' AND "
    ranged += "(subject = 'OWL-101' OR subject >= 'OWL-101/' AND subject < 'OWL-1010')"
    plan = "\n".join(connection.execute(text(ranged)).scalars())
    assert "event_studio_subject_position_ix" in plan
