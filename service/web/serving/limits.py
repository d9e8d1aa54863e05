"""How long a client may take, and how much it may send before anything is known of it."""

from dataclasses import dataclass

KIB = 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """What one worker allows its connections.

    A head has `head_s` from its first byte (the first head of a connection: from connecting). A
    body has `body_s`, and a second more for each `body_bytes_per_s` that have come. Who reads an
    answer must take `reader_bytes_least` of it in each `reader_s`, or the rest of it. More than
    `untrusted_body_bytes_max` of a body are taken for a known token alone.
    """

    connections_max: int
    body_bytes_max: int
    requests_max: int
    """How many requests of one token are answered in ten seconds."""
    wrong_tokens_max: int
    """How many wrong tokens an address may show in that time."""
    head_s: float = 10
    head_bytes_max: int = 64 * KIB
    address_bytes_max: int = 8000
    """RFC 9112, section 3, recommends that no fewer are taken."""
    body_s: float = 20
    body_bytes_per_s: int = 64 * KIB
    untrusted_body_bytes_max: int = 64 * KIB
    bodies_max: int = 32
    """How many bodies of the largest size, or smaller ones of as many bytes, are held at a time."""
    reader_s: float = 20
    reader_bytes_least: int = 16 * KIB
    idle_s: float = 75
    answer_s: float = 90
    """How long a request may take on its thread; the client gets 503 then, the thread runs on."""
    ready_s: float = 3
    """How long it may take to find out whether the database answers."""
    waiting_max: int = 256
    """How many requests may wait for a thread of one lane; `lanes` has a client's share of them."""
    stop_s: float = 30
    """How long requests that are being answered have when the service ends."""
    discard_s: float = 2
    """How long a client that was refused may go on sending before the connection is cut."""

    @property
    def bodies_bytes_max(self) -> int:
        """How many bytes of large bodies are held at a time.

        Those up to `untrusted_body_bytes_max` do not count: connections are bounded, and a crowd of
        large bodies must keep out no small ones.
        """
        return self.bodies_max * self.body_bytes_max
