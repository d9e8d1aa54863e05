"""A TCP connection to a database that can fall silent, as one does whose host is gone."""

import selectors
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy.engine import URL, make_url


class Link:
    """A port of this machine that leads to a server's socket for as long as `silent` is not set.

    Connections are taken then too, and nothing is answered.
    """

    def __init__(self, url: str) -> None:
        self.silent = threading.Event()
        self._where = make_url(url)
        self._ended = threading.Event()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._peers: dict[socket.socket, socket.socket] = {}
        self._thread = threading.Thread(target=self._forward)
        self._thread.start()

    @property
    def url(self) -> str:
        """The database's URL by way of this port."""
        host, port = self._listening.getsockname()
        by_way = self._where.set(host=host, port=port, query={})
        return by_way.render_as_string(hide_password=False)

    def end(self) -> None:
        """Close the port and all that came by it."""
        self._ended.set()
        self._thread.join()
        for end in (self._listening, *self._peers):
            end.close()

    def _forward(self) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(self._listening, selectors.EVENT_READ)
            while not self._ended.is_set():
                if self.silent.is_set():
                    self._ended.wait(0.02)
                    continue
                for key, _ in selector.select(timeout=0.02):
                    if key.fileobj is self._listening:
                        self._join(selector)
                    elif isinstance(key.fileobj, socket.socket):
                        self._pass_on(selector, key.fileobj)

    def _join(self, selector: selectors.BaseSelector) -> None:
        client, _ = self._listening.accept()
        server = _connected(self._where)
        self._peers |= {client: server, server: client}
        for end in (client, server):
            selector.register(end, selectors.EVENT_READ)

    def _pass_on(self, selector: selectors.BaseSelector, end: socket.socket) -> None:
        try:
            data = end.recv(65536)
            self._peers[end].sendall(data)
        except OSError:
            data = b""
        if not data:
            selector.unregister(end)
            for over in (end, self._peers[end]):
                with suppress(OSError):  # it was ended from the other side
                    over.shutdown(socket.SHUT_RDWR)


def _connected(where: URL) -> socket.socket:
    """A connection to the server of a URL, whether it names a host or the folder of a socket."""
    folder = where.query.get("host")
    if not isinstance(folder, str):
        return socket.create_connection((where.host or "", where.port or 5432))
    server = socket.socket(socket.AF_UNIX)
    server.connect(str(Path(folder) / f".s.PGSQL.{where.query['port']}"))
    return server


@contextmanager
def link_to(url: str) -> Iterator[Link]:
    """A link to the server of a URL until the end of the block."""
    link = Link(url)
    try:
        yield link
    finally:
        link.end()
