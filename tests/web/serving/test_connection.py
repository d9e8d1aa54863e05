"""Clients that are slow, silent or wrong cost no other client anything."""

import json
import select
import socket
import time
from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests.waiting import wait_until
from tests.web.serving.conftest import SHORT, Port, read_all, serving

GET = b"GET /here HTTP/1.1\r\nHost: a\r\n\r\n"
LAST = b"GET /here HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n"


def problem(answer: bytes) -> tuple[int, dict[str, object]]:
    """The status and the body of an answer that is a problem."""
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"content-type: application/problem+json" in head.lower()
    assert f"content-length: {len(body)}".encode() in head.lower()
    status = int(head.split(b" ", 2)[1])
    shown = json.loads(body)
    own = {401: {"no-token", "invalid-token"}, 413: {"too-large"}, 503: {"unavailable"}}
    names = {f"/problems/{name}" for name in own.get(status, ())} or {"about:blank"}
    assert shown["type"] in names
    assert shown["status"] == status
    assert (b"retry-after" in head) == (status == 503)
    assert (b"www-authenticate" in head) == (status == 401)
    return status, shown


def read_until(client: socket.socket, end: bytes) -> None:
    """Read an answer up to the bytes that end it."""
    answer = b""
    while not answer.endswith(end):
        part = client.recv(4096)
        assert part, answer
        answer += part


def test_a_request_is_answered_and_the_connection_kept(port: Port) -> None:
    with port.client() as client:
        for _ in range(3):
            client.sendall(GET)
            read_until(client, b"0 /here")
        client.sendall(GET + LAST)
        assert read_all(client).count(b"0 /here") == 2


def test_a_silent_connection_is_dropped_without_a_word(port: Port) -> None:
    assert port.ask(b"") == b""


@pytest.mark.parametrize("sent", [b"G", b"GET / HT", GET[:-2], b"GET / HTTP/1.1\r\nHost"])
def test_half_a_head_is_a_time_out(port: Port, sent: bytes) -> None:
    status, _ = problem(port.ask(sent))
    assert status == 408
    assert port.app.seen == []


@pytest.mark.parametrize("sent", [b"G", b"\r\n", b"GET / HTTP/1.1\r\nX: " + b"y" * 200])
def test_a_byte_at_a_time_wins_no_time(port: Port, sent: bytes) -> None:
    with port.client() as client:
        client.settimeout(0.02)
        # some 10 s at the most, of which the service lets a small part pass
        for place in range(500):
            try:
                client.sendall(sent[place % len(sent)].to_bytes(1, "big"))
                if client.recv(1024) == b"":
                    break
            except TimeoutError:
                continue
            except OSError:
                break
        else:
            pytest.fail("it was never dropped")


def test_an_idle_connection_is_closed(port: Port) -> None:
    with port.client() as client:
        client.sendall(GET)
        assert read_all(client).endswith(b"0 /here")


def test_half_a_body_is_a_time_out_and_takes_no_thread(port: Port) -> None:
    head = b"POST /here HTTP/1.1\r\nHost: a\r\nContent-Length: 100\r\n\r\n"
    clients = [port.client() for _ in range(20)]
    for client in clients:
        client.sendall(head + b"half")
    assert port.ask(LAST).endswith(b"0 /here")
    for client in clients:
        with client:
            assert problem(read_all(client))[0] == 408
    assert len(port.app.seen) == 1


def test_a_body_that_keeps_coming_has_more_time(port: Port) -> None:
    size = 80_000  # at the least rate 0.8 s more
    head = (
        f"POST /here HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer known\r\nContent-Length: {size}"
    )
    with port.client() as client:
        client.sendall(head.encode() + b"\r\nConnection: close\r\n\r\n")
        for _ in range(10):
            client.sendall(b"z" * (size // 10))
            time.sleep(SHORT.body_s / 6)
        assert read_all(client).endswith(b"80000 /here")


def test_a_large_body_is_read_for_a_known_token_alone(port: Port) -> None:
    size = SHORT.untrusted_body_bytes_max * 4
    for shown, name in (
        (b"", "no-token"),
        (b"Authorization: Bearer other\r\n", "invalid-token"),
    ):
        head = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: %d\r\n%b\r\n" % (size, shown)
        status, body = problem(port.ask(head + b"z" * (size - 1)))
        assert (status, body["type"]) == (401, f"/problems/{name}")
    assert port.app.seen == []


@pytest.mark.parametrize("length", [SHORT.body_bytes_max + 1, 10**18])
def test_a_body_whose_length_is_too_large_is_refused_at_once(port: Port, length: int) -> None:
    status, shown = problem(
        port.ask(b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: %d\r\n\r\n" % length)
    )
    assert status == 413
    assert str(SHORT.body_bytes_max) in str(shown["detail"])


def test_a_body_in_chunks_that_grows_too_large_is_refused(port: Port) -> None:
    head = b"POST / HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer known\r\n"
    chunk = b"2710\r\n" + b"z" * 10_000 + b"\r\n"
    answer = port.ask(head + b"Transfer-Encoding: chunked\r\n\r\n" + chunk * 40)
    assert problem(answer)[0] == 413


def test_a_body_in_chunks_is_read_whole(port: Port) -> None:
    head = (
        b"POST /here HTTP/1.1\r\nHost: a\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    assert port.ask(head + b"3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n").endswith(b"5 /here")
    environ = port.app.seen[0]
    assert environ["CONTENT_LENGTH"] == "5"
    assert "HTTP_TRANSFER_ENCODING" not in environ


@pytest.mark.parametrize(
    "sent",
    [
        b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n-1\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabcd\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 3\r\nContent-Length: 4\r\n\r\nabc",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nSCRIPT_NAME: /x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent_Length: 3\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nBad Name: 3\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\n: 3\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nA: b\x00c\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nA: b\r\n folded\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET \xff HTTP/1.1\r\nHost: a\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 1" + b"0" * 30 + b"\r\n\r\n",
        b"CONNECT a:80 HTTP/1.1\r\nHost: a\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"NONSENSE\r\n\r\n",
    ],
)
def test_malformed_requests_are_answered_with_400(port: Port, sent: bytes) -> None:
    status, _ = problem(port.ask(sent))
    assert status == 400
    assert port.app.seen == []


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        # RFC 9112, section 6.1
        (b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n", 501),
        (b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: gzip\r\n"
         b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 501),
        (b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked, gzip\r\n\r\n", 400),
        (b"POST / HTTP/1.0\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 400),
        # RFC 9110, section 15.6.6
        (b"GET / HTTP/2.0\r\nHost: a\r\n\r\n", 505),
        (b"GET / HTTP/0.9\r\nHost: a\r\n\r\n", 505),
    ],
)  # fmt: skip
def test_unsupported_codings_and_versions_are_refused(port: Port, sent: bytes, status: int) -> None:
    assert problem(port.ask(sent))[0] == status
    assert port.app.seen == []


def test_a_head_without_end_is_cut(port: Port) -> None:
    sent = b"GET / HTTP/1.1\r\nHost: a\r\n" + b"X: y\r\n" * 2000
    assert problem(port.ask(sent))[0] == 431


def test_many_requests_ahead_of_their_answers_are_cut_off(port: Port) -> None:
    held = b"GET /held HTTP/1.1\r\nHost: a\r\n\r\n"
    assert port.ask(held + GET * 500) == b""


def test_headers_reach_the_app_as_the_standard_has_it(port: Port) -> None:
    port.ask(
        b"GET /a%20b%C3%A9?x=%2F&y HTTP/1.0\r\nAccept: text/a\r\naccept: text/b\r\n"
        b"Content-Type: text/plain\r\n\r\n"
    )
    environ = port.app.seen[0]
    assert environ["PATH_INFO"] == "/a bé".encode().decode("latin-1")
    assert environ["QUERY_STRING"] == "x=%2F&y"
    assert environ["HTTP_ACCEPT"] == "text/a,text/b"
    assert (environ["CONTENT_TYPE"], environ["SCRIPT_NAME"]) == ("text/plain", "")
    assert "HTTP_CONTENT_TYPE" not in environ


def test_who_does_not_read_is_dropped_and_others_are_answered(port: Port) -> None:
    clients = [port.client() for _ in range(4)]
    for path, client in zip([b"/big", b"/stream"] * 2, clients, strict=True):
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.sendall(b"GET %b HTTP/1.1\r\nHost: a\r\n\r\n" % path)
    assert port.ask(LAST).endswith(b"0 /here")
    wait_until(lambda: not port.state.connections)
    wait_until(lambda: port.app.closed == 2)


def test_who_reads_gets_all_of_it(patient: Port) -> None:
    answer = patient.ask(b"GET /big HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
    assert answer.endswith(b"x" * 30_000_000)
    answer = patient.ask(b"GET /stream HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
    assert answer.partition(b"\r\n\r\n")[2].count(b"y") == 100_000_000
    assert patient.app.closed == 1


def test_requests_that_wait_for_a_thread_are_bounded(patient: Port) -> None:
    clients = [patient.client() for _ in range(12)]
    for number, client in enumerate(clients):
        client.sendall(
            b"GET /held HTTP/1.1\r\nHost: a\r\nConnection: close\r\n"
            b"Authorization: Bearer t%d\r\n\r\n" % number
        )
    refused: list[socket.socket] = []
    while len(refused) < 4:
        readable, _, _ = select.select([one for one in clients if one not in refused], [], [], 10)
        assert readable
        refused += readable
    assert {problem(read_all(client))[0] for client in refused} == {503}
    # a probe of liveness has threads of its own
    live = patient.ask(b"GET /live HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
    assert live.endswith(b"0 /live")
    patient.app.hold.set()
    for client in clients:
        assert client in refused or read_all(client).endswith(b"0 /held")


def test_who_is_refused_for_want_of_a_thread_may_send_all_and_reads_why(patient: Port) -> None:
    clients = [patient.client() for _ in range(8)]
    for number, client in enumerate(clients):
        client.sendall(
            b"GET /held HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer t%d\r\n\r\n" % number
        )
    wait_until(lambda: len(patient.app.seen) == 2)
    size = SHORT.body_bytes_max
    head = (
        b"POST / HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer known\r\nContent-Length: %d\r\n\r\n"
    )
    assert problem(patient.ask(head % size + b"z" * size))[0] == 503


def test_a_request_whose_client_left_while_it_waited_is_not_run(patient: Port) -> None:
    held = [patient.client() for _ in range(2)]
    for client in held:
        client.sendall(b"GET /held HTTP/1.1\r\nHost: a\r\n\r\n")
    wait_until(lambda: len(patient.app.seen) == 2)
    with patient.client() as leaves:
        leaves.sendall(GET)
        wait_until(lambda: len(patient.state.connections) == 3)
    wait_until(lambda: len(patient.state.connections) == 2)
    patient.app.hold.set()
    assert patient.ask(LAST).endswith(b"0 /here")
    assert [environ["PATH_INFO"] for environ in patient.app.seen].count("/here") == 1


def test_a_fault_of_the_app_is_a_500_and_no_more(port: Port) -> None:
    answer = port.ask(b"GET /fault HTTP/1.1\r\nHost: a\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 500 ")
    assert b"ZeroDivisionError" not in answer
    assert port.ask(LAST).endswith(b"0 /here")


def test_a_request_that_takes_too_long_is_answered_with_503() -> None:
    with serving(replace(SHORT, answer_s=0.2)) as hasty:
        status, shown = problem(hasty.ask(b"GET /held HTTP/1.1\r\nHost: a\r\n\r\n"))
        assert status == 503
        assert "again" in str(shown["detail"])
        hasty.app.hold.set()
        assert hasty.ask(LAST).endswith(b"0 /here")


CHUNKED = b"POST /here HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n"


def test_trailers_are_no_headers(port: Port) -> None:
    trailers = b"X_Forwarded_For: 192.0.2.1\r\nContent-Type: text/other\r\nX-More: yes\r\n"
    sent = CHUNKED + b"Content-Type: text/plain\r\nConnection: close\r\n\r\n1\r\n{\r\n0\r\n"
    assert port.ask(sent + trailers + b"\r\n").endswith(b"1 /here")
    environ = port.app.seen[0]
    assert environ["CONTENT_TYPE"] == "text/plain"
    assert not {"HTTP_X_FORWARDED_FOR", "HTTP_X_MORE"} & environ.keys()


@pytest.mark.parametrize(
    ("begun", "repeated"),
    [
        (b"1\r\n{\r\n0\r\n", b"a:\r\n"),  # ever more trailers
        (b"1\r\n{\r\n0\r\na: ", b"yyyy"),  # one trailer without end
        (b"1;", b"a=b;"),  # extensions of a chunk
        (b"", b"0" * 4),  # zeros before a chunk's size
    ],
)
def test_what_comes_around_a_body_is_bounded_as_a_head_is(
    patient: Port, begun: bytes, repeated: bytes
) -> None:
    with patient.client() as client:
        client.sendall(CHUNKED + b"\r\n" + begun)
        time.sleep(0.05)
        client.sendall(repeated * (SHORT.head_bytes_max // len(repeated) + 1))
        assert problem(read_all(client))[0] == 431
    assert patient.app.seen == []


def test_small_chunks_may_take_more_than_a_head_together(port: Port) -> None:
    chunks = b"1\r\nz\r\n" * SHORT.head_bytes_max
    sent = CHUNKED + b"Connection: close\r\n\r\n" + chunks + b"0\r\n\r\n"
    assert port.ask(sent).endswith(b"%d /here" % SHORT.head_bytes_max)


HELD = b"GET /held HTTP/1.1\r\nHost: a\r\n\r\n"
BROKEN_BODY = b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n"


@pytest.mark.parametrize("between", [b"", GET])
@pytest.mark.parametrize("wrong", [b"GET / HTTP/1.1\r\n\r\n", b"NONSENSE\r\n\r\n", BROKEN_BODY])
def test_what_is_refused_is_not_answered_before_what_came_first(
    patient: Port, between: bytes, wrong: bytes
) -> None:
    with patient.client() as client:
        client.sendall(HELD + between)
        wait_until(lambda: len(patient.app.seen) == 1)
        client.sendall(wrong + GET)
        time.sleep(0.1)
        patient.app.hold.set()
        answers = read_all(client)
    first, _, rest = answers.partition(b"0 /held")
    assert first.startswith(b"HTTP/1.1 200 ")
    if between:
        second, _, rest = rest.partition(b"0 /here")
        assert second.startswith(b"HTTP/1.1 200 ")
    assert problem(rest)[0] == 400
    assert len(patient.app.seen) == (2 if between else 1)


def test_a_request_that_takes_too_long_is_answered_with_others_behind_it() -> None:
    with serving(replace(SHORT, answer_s=0.2)) as hasty:
        assert problem(hasty.ask(HELD + GET))[0] == 503
        hasty.app.hold.set()


@pytest.fixture
def narrow() -> Iterator[Port]:
    """The app with long deadlines and little room for bodies."""
    with serving(replace(SHORT, head_s=60, body_s=60, idle_s=60, bodies_max=1)) as made:
        yield made


def test_large_bodies_together_are_bounded_and_small_ones_are_not(narrow: Port) -> None:
    size = SHORT.untrusted_body_bytes_max * 2 + 1
    head = b"POST /held HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer known\r\n"
    head += b"Content-Length: %d\r\n"
    most = SHORT.body_bytes_max // size
    clients = [narrow.client() for _ in range(most)]
    for client in clients:
        client.sendall(head % size + b"\r\n" + b"z" * (size - 1))
        time.sleep(0.02)  # one by one: not too many may wait for their tokens to be looked up
    last = (head % size).replace(b"/held", b"/here") + b"Connection: close\r\n\r\n"
    status, shown = problem(narrow.ask(last + b"z" * size))
    assert status == 503
    assert "bodies" in str(shown["detail"])
    small = last.replace(b"%d" % size, b"9")
    assert narrow.ask(small + b"z" * 9).endswith(b"9 /here")
    # a body that is whole takes its room until it is answered
    clients[0].sendall(b"z")
    wait_until(lambda: len(narrow.app.seen) == 2)
    assert problem(narrow.ask(last + b"z" * size))[0] == 503
    narrow.app.hold.set()
    wait_until(lambda: narrow.ask(last + b"z" * size).endswith(b"%d /here" % size))
    for client in clients[1:]:
        client.close()


def test_a_large_body_that_comes_at_once_is_read_for_a_known_token_alone(port: Port) -> None:
    size = SHORT.untrusted_body_bytes_max + 1
    head = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: %d\r\n\r\n" % size
    assert problem(port.ask(head + b"z" * size))[0] == 401
    assert port.app.seen == []


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET / HT", 408),
        (b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 999999999\r\n\r\n", 413),
        (b"GET /" + b"x" * 8000 + b" HTTP/1.1\r\nHost: a\r\n\r\n", 414),
        (b"NONSENSE\r\n\r\n", 400),
    ],
)
def test_what_is_refused_before_the_app_is_counted(port: Port, sent: bytes, status: int) -> None:
    assert problem(port.ask(sent))[0] == status
    assert port.refused == [status]


def test_of_two_wrong_requests_the_first_is_reported(patient: Port) -> None:
    with patient.client() as client:
        client.sendall(HELD)
        wait_until(lambda: len(patient.app.seen) == 1)
        client.sendall(b"GET / HTTP/1.1\r\n\r\nNONSENSE\r\n\r\n")
        time.sleep(0.05)
        patient.app.hold.set()
        _, _, refused = read_all(client).partition(b"0 /held")
    assert "Host" in str(problem(refused)[1]["detail"])
    assert patient.refused == [400]


OFFERS = [
    b"Connection: Upgrade\r\nUpgrade: foo\r\n",
    b"Connection: keep-alive, Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMA\r\n",
    b"Connection: upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n",
]
BODY = b"GET /smuggled HTTP/1.1\r\nHost: a\r\n\r\n"


@pytest.mark.parametrize("offer", OFFERS)
@pytest.mark.parametrize("pause_s", [0.0, 0.05])
@pytest.mark.parametrize(
    ("length", "body"),
    [
        (b"Content-Length: %d\r\n" % len(BODY), BODY),
        (b"Transfer-Encoding: chunked\r\n", b"%x\r\n%b\r\n0\r\n\r\n" % (len(BODY), BODY)),
    ],
)
def test_an_offer_of_another_protocol_is_passed_over(
    port: Port, offer: bytes, pause_s: float, length: bytes, body: bytes
) -> None:
    with port.client() as client:
        client.sendall(b"POST /here HTTP/1.1\r\nHost: a\r\n" + offer + length + b"\r\n")
        time.sleep(pause_s)
        client.sendall(body + GET + LAST)
        answer = read_all(client)
    assert answer.count(b"HTTP/1.1 200") == 3
    assert b"%d /here" % len(BODY) in answer
    assert b"/smuggled" not in answer
    headers = {name.lower() for environ in port.app.seen for name in environ}
    assert "http_upgrade" not in headers


def test_many_offers_in_a_row_are_each_passed_over(port: Port) -> None:
    offered = GET.replace(b"\r\n\r\n", b"\r\n" + OFFERS[0] + b"\r\n")
    with port.client() as client:
        client.sendall(offered * 5 + LAST)
        assert read_all(client).count(b"0 /here") == 6


def test_a_tunnel_is_refused(port: Port) -> None:
    status, _ = problem(port.ask(b"CONNECT /here HTTP/1.1\r\nHost: a\r\n\r\n" + GET))
    assert status == 501
    assert port.app.seen == []
