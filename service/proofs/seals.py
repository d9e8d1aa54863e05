"""Seals: what the service wrote by itself, told from what somebody else put in its place.

HMAC-SHA256 (RFC 2104, FIPS 180-4) with a key that lies outside the database. Each value is preceded
by its length, so that no two lists of values are sealed alike.

Snapshots are sealed by their digest, clocks by kind and instant. The key is `seals.key`, beside the
signing keys; installations that serve one database need the same. Without a key the log is folded
from its beginning and clocks are not sealed. A clock's seal is checked by `verify --all`, not at
each post; a clock from before there were seals has none until it moves or is mended.
"""

import hmac

KEY_BYTES = 32


def seal(key: bytes, what: str, *values: str | int | bytes | None) -> bytes:
    """The seal of some values, 32 bytes. `what` tells one sort of sealed thing from another."""
    packed = (_packed(value) for value in (what, *values))
    return hmac.digest(key, b"".join(b"%d:%b" % (len(one), one) for one in packed), "sha256")


def holds(key: bytes, sealed: bytes | None, what: str, *values: str | int | bytes | None) -> bool:
    """Whether a seal is that of these values."""
    return sealed is not None and hmac.compare_digest(sealed, seal(key, what, *values))


def _packed(value: str | int | bytes | None) -> bytes:
    if value is None:
        return b"-"
    if isinstance(value, bytes):
        return b"b" + value
    return (f"i{value}" if isinstance(value, int) else f"t{value}").encode()
