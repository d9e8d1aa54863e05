"""Canonical bytes of an event and the Merkle tree over them; pure."""
