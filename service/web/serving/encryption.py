"""TLS below a connection, with both of its transports in reach.

What waits for a reader may lie in either: what is still to be encrypted, or what is already.
"""

import asyncio
import socket
import ssl

from service.web.serving.connection import Connection

_END_S = 3600
"""How long asyncio leaves a closing to its client; `Connection` gives up far sooner by itself."""


async def encrypt(
    client: socket.socket, context: ssl.SSLContext, connection: Connection, handshake_s: float
) -> None:
    """Let in who has shaken hands. Raises OSError or TimeoutError where it does not."""
    loop = asyncio.get_running_loop()
    opening = _Opening()
    beneath, _ = await loop.connect_accepted_socket(lambda: opening, client)
    if opening.early:
        # the loop begins no reading before this goes on; what came in the clear must never count
        beneath.abort()
        raise ConnectionAbortedError
    transport = await loop.start_tls(
        beneath,
        opening,
        context,
        server_side=True,
        ssl_handshake_timeout=handshake_s,
        ssl_shutdown_timeout=_END_S,
    )
    if transport is None or opening.lost:
        raise ConnectionAbortedError
    transport.set_protocol(connection)
    connection.encrypted_made(transport, beneath)
    for data in opening.early:
        connection.data_received(data)


class _Opening(asyncio.Protocol):
    """Stands in for a connection during the handshake, and keeps what comes right behind it."""

    def __init__(self) -> None:
        self.early: list[bytes] = []
        self.lost = False

    def data_received(self, data: bytes) -> None:
        """The client has sent what it wants at once."""
        self.early.append(data)

    def connection_lost(self, _: Exception | None) -> None:
        """The client has left at once."""
        self.lost = True
