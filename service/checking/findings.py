"""What a check has found: what sort of thing differs, where first, and how."""

from enum import StrEnum
from typing import NamedTuple


class Kind(StrEnum):
    """What differs from the record, or in it."""

    RECORD = "record"
    """The bytes of events, their order, or a checkpoint that they do not come to."""
    CHECKPOINT = "checkpoint"
    """A checkpoint in the database that none of the installation's keys signed."""
    HASHES = "hashes"
    """The hashes of the tree beside an event whose own leaf is right."""
    COLUMNS = "columns"
    """What stands beside an event's bytes, so that it can be looked for."""
    TEXT = "text"
    """Personal text that is not what was committed to, or that was erased and is there."""
    MISSING_TEXT = "missing text"
    """Personal text that is not there, and that no `text.forgotten` says was erased."""
    HEAD = "head"
    """How far the log goes, when it was last recorded in, and the tree's frontier."""
    CLOCK = "clock"
    """Where the studio's clock stands, or of which kind it is."""
    SNAPSHOT = "snapshot"
    """A state that workers start from."""
    TRAIL = "trail"
    """What moved each date."""
    UNKNOWN = "unknown"
    """An event that this release cannot read, so that nothing can be held against it."""


class Finding(NamedTuple):
    """The first difference of its kind: the position of the event it lies at, and what it is."""

    kind: Kind
    position: int
    what: str

    def __str__(self) -> str:
        return f"{self.kind}: position {self.position}: {self.what}"
