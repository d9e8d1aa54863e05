"""A witness of checkpoints, whose signatures the service reads and keeps.

Written from the published format (C2SP, tlog-cosignature: a cosignature of version 1 signs
`cosignature/v1`, the time in seconds since 1970, and the checkpoint's text, each on lines of their
own; its bytes are the time as eight bytes, most significant first, and the Ed25519 signature).
"""

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.proofs.notes import COSIGNATURE, Signature, public_key


def cosign(text: str, name: str, secret: Ed25519PrivateKey, at_s: int) -> Signature:
    """A witness's signature of a checkpoint at a time, in seconds since 1970."""
    message = b"cosignature/v1\ntime " + str(at_s).encode() + b"\n" + text.encode()
    key = public_key(name, secret, COSIGNATURE)
    return Signature(name, key.id, at_s.to_bytes(8, "big") + secret.sign(message))
