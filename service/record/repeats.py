"""Events that were posted before: found by source and id, compared by content."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection

from service.log.append import find_recorded
from service.production.refusal import Code, Reason
from service.record.proposing import Proposed
from service.vocabulary.instants import format_instant

Key = tuple[str, str]


class Repeat(NamedTuple):
    """An event that the log, or this transaction, has already."""

    position: int
    recorded_us: int
    content_hash: bytes
    text_hash: bytes | None


def find_repeats(
    connection: Connection, studio: str, proposals: Sequence[Proposed]
) -> dict[Key, Repeat]:
    """What the log has of these proposals' sources and ids."""
    return find_keys(connection, studio, [(one.source, one.id) for one in proposals])


def find_keys(connection: Connection, studio: str, keys: Sequence[Key]) -> dict[Key, Repeat]:
    """What the log has of these sources and ids."""
    found = find_recorded(connection, studio, keys)
    return {
        key: Repeat(at.position, at.recorded_at_us, at.content_hash, at.text_hash)
        for key, at in found.items()
    }


def sort_out(
    recorded: Mapping[Key, Repeat], proposals: Sequence[Proposed]
) -> tuple[list[int], list[Reason]]:
    """Places of what is new, and what reuses an id with other content."""
    new: list[int] = []
    reused: list[Reason] = []
    seen: dict[Key, Repeat] = {}
    for place, proposed in enumerate(proposals):
        key = (proposed.source, proposed.id)
        twin = recorded.get(key) or seen.get(key)
        if twin is None:
            seen[key] = Repeat(0, 0, proposed.content_hash, text_hash(proposed.personal))
            new.append(place)
        elif not _same(twin, proposed):
            reused.append(
                Reason(
                    Code.ID_REUSED,
                    f"{_first(twin)} has this source and id and says something else; give a new "
                    "id to what happened anew",
                    "/id",
                    place,
                )
            )
    return new, reused


def _first(twin: Repeat) -> str:
    if twin.position == 0:
        return "another event of this post"
    return f"event {twin.position}, recorded {format_instant(twin.recorded_us)},"


def sort_out_derived(
    recorded: Mapping[Key, Repeat], proposals: Sequence[Proposed], derived: Mapping[Key, int]
) -> list[Reason]:
    """What of the ids that approvals give to their facts is taken; by key, the approval's place."""
    posted = {(one.source, one.id) for one in proposals}
    return [
        Reason(
            Code.ID_REUSED,
            f"the id {key[1]}, which one of its facts would get, is taken; give a new id",
            "/id",
            place,
        )
        for key, place in derived.items()
        if key in recorded or key in posted
    ]


def text_hash(personal: bytes | None) -> bytes | None:
    """What personal text is compared by: what was recorded may be much, and is not fetched."""
    return None if personal is None else sha256(personal).digest()


def _same(twin: Repeat, proposed: Proposed) -> bool:
    if twin.content_hash != proposed.content_hash:
        return False
    # personal text that was removed since cannot be compared any more
    return twin.text_hash is None or twin.text_hash == text_hash(proposed.personal)
