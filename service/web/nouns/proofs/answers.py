"""Proofs, checkpoints and keys as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from msgspec import Meta, Raw, field

from service.web.answers import Shown, note

_HASHES = "The hashes of the proof, from below, 32 bytes each in base64."
_MEMBERS = Meta(
    description="The personal members of the event by JSON pointer.",
    extra_json_schema={"type": "object"},
)


class InclusionShown(Shown):
    """That an event is in the tree (RFC 9162, section 2.1.3)."""

    position: Annotated[int, note("The event's position.")]
    leaf_index: Annotated[int, note("Its leaf, counted from 0: the position less one.")]
    size: Annotated[int, note("The tree's size.")]
    leaf: Annotated[str, note("The leaf's hash, in base64.")]
    root: Annotated[str, note("The tree's root, in base64.")]
    hashes: Annotated[Sequence[str], note(_HASHES)]


class ConsistencyShown(Shown):
    """That a tree begins with an older one (RFC 9162, section 2.1.4)."""

    from_size: Annotated[int, note("Size of the older tree.")] = field(name="from")
    to_size: Annotated[int, note("Size of the newer tree.")] = field(name="to")
    from_root: Annotated[str, note("Root of the older, in base64.")]
    to_root: Annotated[str, note("Root of the newer, in base64.")]
    hashes: Annotated[Sequence[str], note(_HASHES)]


class PersonalShown(Shown):
    """Personal text with the salt of its commitment."""

    position: Annotated[int, note("The event's position.")]
    salt: Annotated[str, note("The salt, in hexadecimal.")]
    personal: Annotated[Raw, _MEMBERS]


class CheckpointShown(Shown):
    """A checkpoint in a list."""

    size: Annotated[int, note("How many events it covers.")]
    root: Annotated[str, note("The root, in base64.")]
    cosigned_by: Annotated[Sequence[str], note("Keys of others that signed it.")]


class CheckpointsShown(Shown):
    """A page of checkpoints."""

    items: list[CheckpointShown]


class KeyShown(Shown):
    """A key that checkpoints are or were signed with."""

    key: Annotated[str, note("NAME+ID+KEY (c2sp.org/signed-note).")]
    signs: Annotated[bool, note("Whether it signs now.")]


class KeysShown(Shown):
    """The keys of this log, the one that signs now first."""

    origin: Annotated[str, note("The log's name.")]
    keys: list[KeyShown]
