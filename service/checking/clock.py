"""A studio's clock, held against its seal and against what was recorded by it."""

from sqlalchemy import Connection, select

from service.checking.findings import Finding, Kind
from service.log.schema import head
from service.log.studios import StudioRecord, clock_seal
from service.vocabulary.instants import format_instant, instant_us


def check_clock(
    connection: Connection, studio: StudioRecord, recorded_at_us: int, seal_key: bytes | None
) -> Finding | None:
    """What is wrong with a studio's clock, at the log's position; None if nothing is.

    The seal covers its kind and where it stands, so that nobody can set it but the service. An
    earlier pair of both can be put back unnoticed as long as nothing was recorded after it.
    """
    query = select(head.c.position, head.c.clock_at, head.c.clock_seal)
    position, clock_at, sealed = connection.execute(
        query.where(head.c.studio == studio.studio)
    ).one()
    clock_at_us = None if clock_at is None else instant_us(clock_at)
    what = wrong_by_itself(studio, clock_at_us, recorded_at_us)
    if what is None and seal_key is not None:
        if sealed is None:
            what = (
                "it has no seal: it was set before clocks were sealed, or the seal was taken away"
            )
        elif sealed != clock_seal(seal_key, studio.studio, studio.clock, clock_at_us):
            stands = studio.clock if clock_at_us is None else f"at {format_instant(clock_at_us)}"
            what = f"it stands {stands}, and was set otherwise than by the service"
    return None if what is None else Finding(Kind.CLOCK, position, what)


def wrong_by_itself(
    studio: StudioRecord, clock_at_us: int | None, recorded_at_us: int
) -> str | None:
    """What no clock of this kind and record can say, seal or not; None if nothing is."""
    if (studio.clock == "simulated") != (clock_at_us is not None):
        return f"the studio's clock is {studio.clock}, and what it stands at says otherwise"
    if clock_at_us is not None and clock_at_us < recorded_at_us:
        then, now = format_instant(recorded_at_us), format_instant(clock_at_us)
        return f"it stands at {now}, before the last event was recorded, at {then}"
    return None
