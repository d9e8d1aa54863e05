"""A worker's event loop: accepting clients, encryption, proxies, lanes, and stopping."""

import asyncio
import datetime
import errno
import os
import socket
import ssl
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from functools import wraps
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from flask import Flask, request
from sqlalchemy.pool import QueuePool

from service.log.engine import service_engine
from service.settings import Settings
from service.web import observing
from service.web.app import bare_app
from service.web.paging import Place, make_cursor
from service.web.serving import keep_metrics_apart, sized
from service.web.serving.admission import lane_chooser
from service.web.serving.lanes import Lanes
from service.web.serving.server import Options, Server
from service.web.serving.worker import LoopWorker
from tests.web.serving.conftest import SHORT

LAST = b"GET /here HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n"
PATIENT = replace(SHORT, head_s=60, idle_s=60)


def small_app() -> Flask:
    app = Flask("small")
    observing.install(app)

    @app.get("/here")
    def here() -> str:
        return f"{request.scheme} {request.remote_addr}"

    return app


def listener() -> socket.socket:
    made = socket.create_server(("127.0.0.1", 0))
    made.setblocking(False)
    return made


def server_on(sock: socket.socket, options: Options, app: Flask | None = None) -> Server:
    worker = SimpleNamespace(
        wsgi=app or small_app(),
        sockets=[SimpleNamespace(sock=sock)],
        notify=lambda: None,
        ppid=os.getppid(),
    )
    return Server(cast(LoopWorker, worker), options)


@asynccontextmanager
async def serving(*servers: Server) -> AsyncIterator[None]:
    tasks = [asyncio.create_task(server.serve()) for server in servers]
    try:
        yield
    finally:
        for server in servers:
            server.stop()
        await asyncio.gather(*tasks)


async def ask(sock: socket.socket, sent: bytes, **options: Any) -> bytes:
    reader, writer = await asyncio.open_connection(*sock.getsockname()[:2], **options)
    writer.write(sent)
    answer = await reader.read()
    writer.close()
    return answer


def run(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 60))


def test_connections_go_to_the_worker_with_the_fewest() -> None:
    async def test() -> None:
        sock = listener()
        where = sock.getsockname()
        servers = [server_on(one, Options(2, PATIENT)) for one in (sock.dup(), sock.dup())]
        async with serving(*servers):
            clients = []
            for _ in range(12):
                clients.append(await asyncio.open_connection(*where))
                await asyncio.sleep(0.05)
            sock.close()
            assert [server.connections for server in servers] == [6, 6]
            for _, writer in clients:
                writer.close()

    run(test)


HALF_BODY = b"POST /here HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\n\r\n"
HELD = b"GET /held HTTP/1.1\r\nHost: a\r\n\r\n"


def shown(app: Flask) -> bytes:
    """The metrics of an app."""
    with app.app_context():
        return observing.metrics().shown()


def holding_app(released: threading.Semaphore) -> Flask:
    """The small app, with an address that answers as often as it is released."""
    app = small_app()

    @app.get("/held")
    def held() -> str:
        released.acquire(timeout=30)
        return "held"

    return app


@pytest.mark.parametrize("sent", [b"", b"GET /here HT", HALF_BODY, HALF_BODY + b"a"])
def test_the_client_waited_for_longest_makes_room(sent: bytes) -> None:
    async def test() -> None:
        sock = listener()
        server = server_on(sock, Options(2, replace(PATIENT, connections_max=3)))
        async with serving(server):
            clients = []
            for _ in range(3):
                clients.append(await asyncio.open_connection(*sock.getsockname()))
                clients[-1][1].write(sent)
                await asyncio.sleep(0.05)
            assert (await ask(sock, LAST)).startswith(b"HTTP/1.1 200 ")
            assert await clients[0][0].read() == b""
            clients[2][1].write(b"b")
            await asyncio.sleep(0.05)
            assert not clients[1][0].at_eof()
            assert not clients[2][0].at_eof()
            for _, writer in clients:
                writer.close()

    run(test)


def test_a_client_whose_request_is_being_answered_makes_no_room() -> None:
    async def test() -> None:
        released = threading.Semaphore(0)
        sock = listener()
        options = Options(2, replace(PATIENT, connections_max=1))
        app = holding_app(released)
        async with serving(server_on(sock, options, app)):
            reader, writer = await asyncio.open_connection(*sock.getsockname())
            # the second is begun when the first is answered
            writer.write(HELD + HELD)
            await asyncio.sleep(0.1)
            assert (await ask(sock, LAST)).startswith(b"HTTP/1.1 503 ")
            assert b'route="none",status="503"} 1.0' in shown(app)
            released.release()
            await reader.readuntil(b"held")
            await asyncio.sleep(0.1)
            assert (await ask(sock, LAST)).startswith(b"HTTP/1.1 503 ")
            # nor while a third is still being sent
            writer.write(HALF_BODY)
            await asyncio.sleep(0.1)
            assert (await ask(sock, LAST)).startswith(b"HTTP/1.1 503 ")
            released.release()
            await reader.readuntil(b"held")
            assert (await ask(sock, LAST)).startswith(b"HTTP/1.1 200 ")
            writer.close()

    run(test)


def test_a_handshake_that_does_not_go_on_makes_room(tmp_path: Path) -> None:
    async def test() -> None:
        files = certificate(tmp_path)
        client = ssl.create_default_context(cafile=files[0])
        sock = listener()
        options = Options(2, replace(PATIENT, connections_max=3), tls=files)
        async with serving(server_on(sock, options)):
            silent = [await asyncio.open_connection(*sock.getsockname()) for _ in range(3)]
            await asyncio.sleep(0.1)
            answer = await ask(sock, LAST, ssl=client, server_hostname="ledger")
            assert answer.startswith(b"HTTP/1.1 200 ")
            assert await asyncio.wait_for(silent[0][0].read(), 5) == b""
            for _, writer in silent:
                writer.close()

    run(test)


def test_forwarding_headers_are_believed_from_named_proxies_alone() -> None:
    async def test() -> None:
        headers = b"X-Forwarded-For: 203.0.113.9, 192.0.2.4\r\nX-Forwarded-Proto: https\r\n"
        sent = LAST.replace(b"Host: a\r\n", b"Host: a\r\n" + headers)
        for proxies, seen in (
            ((), b"http 127.0.0.1"),
            (("192.0.2.0/24",), b"http 127.0.0.1"),
            (("127.0.0.1", "192.0.2.0/24"), b"https 203.0.113.9"),
        ):
            sock = listener()
            async with serving(server_on(sock, Options(2, PATIENT, proxies))):
                assert (await ask(sock, sent)).endswith(seen)

    run(test)


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 that signs itself, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "ledger")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("ledger")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    paths = folder / "certificate.pem", folder / "key.pem"
    paths[0].write_bytes(made.public_bytes(serialization.Encoding.PEM))
    paths[1].write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return paths


def test_with_a_certificate_connections_are_encrypted_and_silence_ends(tmp_path: Path) -> None:
    async def test() -> None:
        files = certificate(tmp_path)
        client = ssl.create_default_context(cafile=files[0])
        sock = listener()
        options = Options(2, replace(PATIENT, head_s=1), tls=files)
        async with serving(server_on(sock, options)):
            answer = await ask(sock, LAST, ssl=client, server_hostname="ledger")
            assert answer.endswith(b"https 127.0.0.1")
            # who speaks no TLS, or nothing at all, is dropped
            assert b"HTTP" not in await ask(sock, LAST)
            assert await ask(sock, b"") == b""

    run(test)


def test_what_was_begun_is_answered_when_the_service_ends() -> None:
    async def test() -> None:
        loop = asyncio.get_running_loop()
        begun, hold = asyncio.Event(), threading.Event()
        app = small_app()

        @app.get("/held")
        def held() -> str:
            loop.call_soon_threadsafe(begun.set)
            hold.wait(30)
            return "held"

        sock = listener()
        server = server_on(sock, Options(2, replace(PATIENT, stop_s=30)), app)
        serve = asyncio.create_task(server.serve())
        await asyncio.sleep(0.05)
        _, idle = await asyncio.open_connection(*sock.getsockname())
        half_reader, half = await asyncio.open_connection(*sock.getsockname())
        half.write(b"POST /here HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\n\r\n")
        pending = asyncio.create_task(ask(sock, LAST.replace(b"/here", b"/held")))
        await begun.wait()
        where = sock.getsockname()
        server.stop()
        await asyncio.sleep(0.2)
        assert not serve.done()
        assert await half_reader.read() == b""
        with pytest.raises(OSError):  # noqa: PT011  # refused or reset, as the system has it
            await asyncio.open_connection(*where)
        hold.set()
        assert (await pending).endswith(b"held")
        await serve
        idle.close()
        half.close()

    run(test)


def test_nothing_is_accepted_once_its_parent_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    async def test() -> None:
        faults: list[dict[str, Any]] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))
        sock = listener()
        where = sock.getsockname()
        options = Options(2, PATIENT, tick_s=0.1, yielded_s=0.5)
        serve = asyncio.create_task(server_on(sock, options).serve())
        _, first = await asyncio.open_connection(*where)
        await asyncio.sleep(0.05)
        # the second is not accepted at once, since there is one already
        _, second = await asyncio.open_connection(*where)
        await asyncio.sleep(0.05)
        monkeypatch.setattr(os, "getppid", lambda: 0)
        await serve
        await asyncio.sleep(0.6)
        assert faults == []
        first.close()
        second.close()

    run(test)


@pytest.mark.parametrize(
    ("method", "path", "lane"),
    [
        ("GET", "/live", "probe"),
        ("GET", "/ready", "ready"),
        ("GET", "/metrics", "probe"),
        ("POST", "/events", "usual"),
        ("GET", "/events", "usual"),
        ("GET", "/episodes/KESTREL-1/trail", "costly"),
        ("GET", "/episodes/KESTREL-1/replay", "costly"),
        ("GET", "/episodes/KESTREL-1/diary", "costly"),
        ("GET", "/proofs/consistency", "costly"),
        ("POST", "/what-if", "costly"),
        ("DELETE", "/live", "usual"),
        ("GET", "/nothing", "usual"),
        ("GET", "//live\x00\udc80", "usual"),
        ("NONSENSE", "/live", "usual"),
    ],
)
def test_each_route_has_its_lane(method: str, path: str, lane: str) -> None:
    lanes = Lanes.of(4, SHORT)
    assert lane_chooser(bare_app(), lanes)(method, path, b"") is getattr(lanes, lane)
    lanes.stop()


@pytest.mark.parametrize(
    ("query", "lane"),
    [
        (b"limit=20", "usual"),
        (b"cursor=no-cursor", "usual"),
        (b"limit=1&cursor=" + make_cursor(Place(12, 30, 1), {}).encode(), "costly"),
        (b"%63ursor=" + make_cursor(Place(12, 30, 1), {}).encode(), "costly"),
        (b"cursor=" + make_cursor([12], {}).encode(), "usual"),
        (b"cursor=W10&cursor=" + make_cursor(Place(1, 0, 0), {"a": 1}).encode(), "costly"),
    ],
)
def test_a_page_of_an_earlier_state_is_costly(query: bytes, lane: str) -> None:
    lanes = Lanes.of(4, SHORT)
    assert lane_chooser(bare_app(), lanes)("GET", "/episodes", query) is getattr(lanes, lane)
    lanes.stop()


def test_metrics_are_kept_to_a_port_of_their_own() -> None:
    app = bare_app()
    keep_metrics_apart(app, 9765)
    client = app.test_client()
    for path, port, status in (
        ("/metrics", 9765, 200),
        ("/metrics", 8765, 404),
        ("/live", 9765, 404),
        ("/live", 8765, 200),
    ):
        answer = client.get(path, environ_overrides={"SERVER_PORT": str(port)})
        assert answer.status_code == status, (path, port)


class _Failing:
    """A listener whose next `accept` raises a fault, or for None gives a closed client."""

    def __init__(self, sock: socket.socket, faults: list[int | None]) -> None:
        self._sock = sock
        self.faults = faults

    def accept(self) -> tuple[socket.socket, Any]:
        client, address = self._sock.accept()
        if not self.faults:
            return client, address
        fault = self.faults.pop()
        client.close()
        if fault is None:
            return client, address  # closed: setting its options fails
        raise OSError(fault, os.strerror(fault))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)


@pytest.mark.parametrize("fault", [errno.EPROTO, errno.EHOSTUNREACH, errno.EPERM, errno.EIO, None])
def test_a_client_that_cannot_be_accepted_keeps_no_other_out(fault: int | None) -> None:
    async def test() -> None:
        faults: list[dict[str, Any]] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))
        failing = _Failing(listener(), [fault])
        sock = cast(socket.socket, failing)
        async with serving(server_on(sock, Options(2, PATIENT))):
            with suppress(ConnectionError):
                assert await ask(sock, LAST) == b""
            assert (await asyncio.wait_for(ask(sock, LAST), 10)).startswith(b"HTTP/1.1 200 ")
        assert failing.faults == []
        assert faults == []

    run(test)


def test_liveness_is_answered_while_the_database_is_waited_for() -> None:
    async def test() -> None:
        app, bare, hold = small_app(), bare_app(), threading.Event()
        # views with the lanes of these addresses; the second waits as for a paused database
        app.add_url_rule("/live", view_func=bare.view_functions["health.live"])

        @wraps(bare.view_functions["health.ready"])
        def waits() -> str:
            hold.wait(30)
            return ""

        app.add_url_rule("/ready", view_func=waits)
        sock = listener()
        limits = replace(PATIENT, ready_s=0.5)
        async with serving(server_on(sock, Options(2, limits), app)):
            ready = [
                asyncio.create_task(ask(sock, LAST.replace(b"/here", b"/ready"))) for _ in range(3)
            ]
            await asyncio.sleep(0.1)
            live = await asyncio.wait_for(ask(sock, LAST.replace(b"/here", b"/live")), 5)
            assert live.startswith(b"HTTP/1.1 200 ")
            for answer in await asyncio.wait_for(asyncio.gather(*ready), 10):
                assert answer.startswith(b"HTTP/1.1 503 ")
                assert b"database has not answered" in answer
            hold.set()

    run(test)


BIG_BYTES = 400_000


def narrow_listener() -> socket.socket:
    """A listener whose connections have little room for what is not read."""
    made = listener()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 8192)
    return made


def encrypted(sock: socket.socket, certificate_file: Path) -> ssl.SSLSocket:
    """A client that takes little at a time and has asked for a big page, the connection's last."""
    plain = socket.socket()
    plain.settimeout(20)
    plain.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    plain.connect(sock.getsockname())
    context = ssl.create_default_context(cafile=certificate_file)
    made = context.wrap_socket(plain, server_hostname="ledger")
    made.sendall(LAST.replace(b"/here", b"/big"))
    return made


def big_app() -> Flask:
    app = small_app()
    app.add_url_rule("/big", view_func=lambda: "x" * BIG_BYTES)
    return app


def test_a_slow_reader_gets_all_of_an_encrypted_answer(tmp_path: Path) -> None:
    files = certificate(tmp_path)

    def read(sock: socket.socket) -> int:
        size = 0
        with encrypted(sock, files[0]) as client:
            while part := client.recv(16384):
                size += len(part)
                time.sleep(0.15)
        return size

    async def test() -> None:
        sock = narrow_listener()
        options = Options(2, replace(PATIENT, reader_s=2), tls=files)
        async with serving(server_on(sock, options, big_app())):
            assert await asyncio.to_thread(read, sock) > BIG_BYTES

    run(test)


def test_a_client_that_reads_no_encrypted_answer_is_cut_off(tmp_path: Path) -> None:
    async def test() -> None:
        files = certificate(tmp_path)
        sock = narrow_listener()
        server = server_on(sock, Options(2, replace(PATIENT, reader_s=1), tls=files), big_app())
        async with serving(server):
            client = await asyncio.to_thread(encrypted, sock, files[0])
            await asyncio.sleep(0.5)
            assert server.connections == 1
            await asyncio.sleep(2.5)
            assert server.connections == 0
            client.close()

    run(test)


def test_a_client_that_does_not_end_tls_holds_up_no_stop(tmp_path: Path) -> None:
    async def test() -> None:
        loop = asyncio.get_running_loop()
        files = certificate(tmp_path)
        sock = listener()
        server = server_on(sock, Options(2, replace(PATIENT, stop_s=30), tls=files), big_app())
        async with serving(server):
            plain = socket.create_connection(sock.getsockname(), timeout=20)
            context = ssl.create_default_context(cafile=files[0])
            client = await asyncio.to_thread(context.wrap_socket, plain, server_hostname="ledger")
            await asyncio.sleep(0.1)
            assert server.connections == 1
            began_at = loop.time()
        assert loop.time() - began_at < 5
        client.close()

    run(test)


@pytest.mark.parametrize("threads", [1, 8, 64])
def test_each_thread_that_asks_the_database_has_a_connection(threads: int) -> None:
    settings = sized(Settings(None, None, Path("/nowhere")), threads)
    lanes = Lanes.of(threads, SHORT)
    asking = sum(lane.threads for lane in lanes if lane is not lanes.probe)
    engine = service_engine("postgresql+psycopg://nobody@127.0.0.1:1/nothing", settings)
    assert cast(QueuePool, engine.pool).size() == asking
    lanes.stop()


def test_a_pool_whose_size_is_set_keeps_it() -> None:
    settings = Settings(None, None, Path("/nowhere"), pool_size=3)
    assert sized(settings, 64) is settings
