"""Values as bytes: what the server makes of them, and what is made of the server's."""

import struct
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from psycopg.pq import Format
from sqlalchemy import Engine

from service.log import wire
from service.log.engine import driver_connection
from tests.properties import tried

TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8)
WHOLES = st.integers(-(2**63), 2**63 - 1)
# the years 1 to 9999, which both sides can show
INSTANTS = st.integers(-62_000_000_000_000_000, 253_000_000_000_000_000)
AS_JSON = "convert_to(array_to_json(ARRAY)::text, 'UTF8')"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FEW = settings(
    tried(60),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def row(engine: Engine, statement: str, *values: bytes) -> list[bytes | None]:
    """What the server answers in its binary format: the columns of one row."""
    with engine.connect() as connection, driver_connection(connection) as raw:
        formats = [Format.BINARY] * len(values)
        result = raw.pgconn.exec_params(
            statement.encode(), values, param_formats=formats, result_format=Format.BINARY
        )
        assert result.error_message == b""
        return [result.get_value(0, column) for column in range(result.nfields)]


@FEW
@given(value=WHOLES, at_us=INSTANTS)
def test_numbers_and_instants_go_and_come(engine: Engine, value: int, at_us: int) -> None:
    back = row(engine, "SELECT $1::bigint, $2::timestamptz", wire.whole(value), wire.instant(at_us))
    whole, instant = back
    assert whole is not None
    assert instant is not None
    assert (wire.read_whole(whole), wire.read_instant(instant)) == (value, at_us)
    text = row(engine, "SELECT convert_to($1::timestamptz::text, 'UTF8')", wire.instant(at_us))
    with engine.connect() as connection, driver_connection(connection) as raw:
        read = raw.execute("SELECT %s::timestamptz", ((text[0] or b"").decode(),)).fetchone()
    assert read == (EPOCH + timedelta(microseconds=at_us),)


@FEW
@given(values=st.lists(st.none() | TEXTS, max_size=6))
def test_texts_with_nulls_among_them(engine: Engine, values: list[str | None]) -> None:
    found = row(engine, f"SELECT {AS_JSON}".replace("ARRAY", "$1::text[]"), wire.texts(values))
    with engine.connect() as connection, driver_connection(connection) as raw:
        expected = raw.execute(f"SELECT {AS_JSON}".replace("ARRAY", "%s::text[]"), (values,))
        assert found == list(expected.fetchone() or ())


@FEW
@given(values=st.lists(TEXTS, max_size=6))
def test_texts_come_back(engine: Engine, values: list[str]) -> None:
    (found,) = row(engine, "SELECT $1::text[]", wire.texts(values))
    assert found is not None
    assert wire.read_texts(found) == tuple(values)


@FEW
@given(values=st.lists(st.tuples(WHOLES, INSTANTS, st.binary(max_size=8)), max_size=6))
def test_columns_are_taken_apart_as_they_were_put_together(
    engine: Engine, values: list[tuple[int, int, bytes]]
) -> None:
    wholes, instants, octets = zip(*values, strict=True) if values else ((), (), ())
    statement = (
        "SELECT count(*), coalesce(string_agg(int8send(a) || timestamptz_send(b) || "
        "int4send(length(c)) || c, '' ORDER BY place), '') "
        "FROM unnest($1::bigint[], $2::timestamptz[], $3::bytea[]) WITH ORDINALITY "
        "AS row (a, b, c, place)"
    )
    sent = (wire.wholes(wholes), wire.instants(instants), wire.octets(octets))
    count, joined = row(engine, statement, *sent)
    assert count is not None
    assert wire.read_whole(count) == len(values)
    assert joined == b"".join(
        wire.whole(whole) + wire.instant(at_us) + len(some).to_bytes(4, "big") + some
        for whole, at_us, some in values
    )


@pytest.mark.parametrize("length", [0, 1, 4095, 4096, 4097, 100_000])
def test_octets_of_any_length(engine: Engine, length: int) -> None:
    value = bytes(length)
    found = row(engine, "SELECT ($1::bytea[])[2], cardinality($1)", wire.octets([b"x", value]))
    assert found == [value, (2).to_bytes(4, "big")]


def test_a_number_that_is_too_large_is_an_error() -> None:
    with pytest.raises(struct.error):
        wire.whole(2**63)
