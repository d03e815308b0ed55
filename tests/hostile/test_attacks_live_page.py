"""The live page's wire: what is no HTTP, no WebSocket or has no end; pages that stop reading."""

from __future__ import annotations

import contextlib
import http.client
import json
import shutil
import socket
import struct
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("uvicorn")

import lookdev
from lookdev.watch import server
from lookdev.watch.server import LivePage
from lookdev.watch.session import Session, choose_stills, open_stills

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def stills() -> Any:
    surveyed = lookdev.survey(lookdev.open_scout(ROOT / "sample_frames"))
    return open_stills(choose_stills(surveyed, ("01_ferry_hall_wide.jpg",)), 300)


@pytest.fixture
def live(stills: Any, tmp_path: Path) -> Iterator[LivePage]:
    shutil.copy(ROOT / "looks" / "wet_wool.toml", tmp_path)
    with LivePage(Session(stills, [tmp_path])).running() as page:
        assert home(page) == 200
        yield page


def home(live: LivePage) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", live.port, timeout=60)
    try:
        connection.request("GET", f"/{live.token}/")
        answer = connection.getresponse()
        answer.read()
        return answer.status
    finally:
        connection.close()


def sent(live: LivePage, data: bytes) -> bytes:
    """What comes back for bytes on the wire, until the server ends it or is silent for half a second."""
    with socket.create_connection(("127.0.0.1", live.port), timeout=0.5) as wire:
        got = b""
        with contextlib.suppress(OSError):
            wire.sendall(data)
        with contextlib.suppress(OSError):
            while more := wire.recv(65536):
                got += more
        return got


def get(live: LivePage, path: str, *more: str, method: str = "GET", body: bytes = b"") -> bytes:
    head = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{live.port}", "Connection: close", *more]
    return ("\r\n".join(head) + "\r\n\r\n").encode("latin-1") + body


def own(live: LivePage, rest: str = "") -> str:
    return f"/{live.token}/{rest}"


CHUNKED = b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n"
NO_HTTP = {
    "nothing": b"",
    "noise": bytes(range(256)) * 40,
    "zeros": bytes(100_000),
    "a TLS hello": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(500),
    "HTTP/2's preface": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    "half a line": b"GET /",
    "no version": b"GET /\r\n\r\n",
    "a version to come": b"GET / HTTP/9.9\r\nHost: x\r\n\r\n",
    "a line without an end": b"GET /" + b"a" * 2_000_000,
    "a header without an end": b"GET / HTTP/1.1\r\nHost: " + b"a" * 2_000_000,
    "a hundred thousand headers": b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 100_000 + b"\r\n",
    "a header with no name": b"GET / HTTP/1.1\r\n: x\r\nHost: y\r\n\r\n",
    "lines folded": b"GET / HTTP/1.1\r\nHost: x\r\n y\r\n\r\n",
    "bare line feeds": b"GET / HTTP/1.1\nHost: x\n\n",
    "two lengths": b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 3\r\nContent-Length: 30\r\n\r\nabc",
    "a length below nothing": b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
    "a length and chunks": CHUNKED.replace(b"Host", b"Content-Length: 3\r\nHost") + b"0\r\n\r\n",
    "a chunk of all memory": CHUNKED + b"FFFFFFFFFFFF\r\nx",
    "a chunk of words": CHUNKED + b"zz\r\n",
}


@pytest.mark.parametrize("data", NO_HTTP.values(), ids=NO_HTTP)
def test_what_is_no_http_gets_no_page(live: LivePage, data: bytes) -> None:
    got = sent(live, data)
    assert b" 200 " not in got.split(b"\r\n", 1)[0]
    assert live.token.encode() not in got
    assert home(live) == 200


def requests(live: LivePage) -> dict[str, bytes]:
    return {
        "another method": get(live, own(live), method="DELETE"),
        "a word for a method": get(live, own(live), method="MAKE"),
        "a body": get(live, own(live), "Content-Length: 5", method="POST", body=b"hello"),
        "a body that never comes": get(live, own(live), "Content-Length: 99999999", method="POST"),
        "a proxy's address": get(live, f"http://velmsund.example{own(live)}", "Host: velmsund.example"),
        "CONNECT": get(live, "velmsund.example:443", method="CONNECT"),
        "zero in the path": get(live, own(live, "page.css%00.html")),
        "a path of a megabyte": get(live, own(live, "a" * 1_000_000)),
        "a number of a thousand digits": get(live, own(live, "stood/" + "9" * 1000 + ".png")),
        "a number below nothing": get(live, own(live, "stood/-1.png")),
        "digits of another script": get(live, own(live, "stood/%D9%A0.png")),
        "another kind of picture": get(live, own(live, "still/0/0/0.exe")),
        "a version to come": get(live, own(live, "still/0/0/4294967296.png")),
        "half an escape": get(live, own(live, "%")),
        "no UTF-8": get(live, own(live, "%ff%fe")),
        "over the top": get(live, own(live, "..%2f..%2f..%2fetc%2fpasswd")),
        "the token in capitals": get(live, own(live).upper()),
        "two hosts": get(live, own(live), "Host: 127.0.0.1"),
        "an upgrade to nothing": get(live, own(live, "live"), "Upgrade: websocket", "Connection: Upgrade"),
        "an upgrade of a picture": get(live, own(live, "page.css"), "Upgrade: h2c"),
    }


def test_strange_requests_are_refused_and_the_page_goes_on(live: LivePage, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    for name, data in requests(live).items():
        got = sent(live, data)
        status = got.split(b"\r\n", 1)[0]
        fine = name == "an upgrade of a picture"  # RFC 9110, 7.8: an upgrade may be ignored
        assert (b" 200 " in status) == fine, (name, status)
        assert b"Traceback" not in got and b"root:" not in got, name
    assert home(live) == 200
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_two_hundred_idle_connections_shut_nobody_out(live: LivePage) -> None:
    with contextlib.ExitStack() as stack:
        for n in range(200):
            wire = stack.enter_context(socket.create_connection(("127.0.0.1", live.port), timeout=10))
            wire.sendall(b"GET /" if n % 2 else get(live, own(live), "Content-Length: 9", method="POST"))
        assert home(live) == 200


def test_connections_that_are_reset(live: LivePage) -> None:
    for _ in range(50):
        wire = socket.create_connection(("127.0.0.1", live.port), timeout=10)
        wire.sendall(get(live, own(live, "stood/0.png")))
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        wire.close()
    assert home(live) == 200


def joined(live: LivePage, **more: Any) -> Any:
    from websockets.sync.client import connect

    origin = f"http://127.0.0.1:{live.port}"
    return connect(f"ws://127.0.0.1:{live.port}/{live.token}/live", origin=origin, max_size=None, **more)


def heard(wire: Any, kind: str) -> Any:
    while True:
        got = wire.recv(timeout=60)
        if isinstance(got, str) and (message := json.loads(got))["kind"] == kind:
            return message


def frame(
    opcode: int, payload: bytes, *, length: bytes | None = None, masked: bool = True, first: int = 0x80
) -> bytes:
    """A frame of RFC 6455, 5.2."""
    if length is None:
        size, mask = len(payload), 0x80 if masked else 0
        length = bytes([mask | size]) if size < 126 else bytes([mask | 126]) + struct.pack(">H", size)
    return bytes([first | opcode]) + length + (bytes(4) if masked else b"") + payload


def hello(live: LivePage) -> bytes:
    """A handshake; the key is that of RFC 6455, 1.3."""
    more = (
        "Upgrade: websocket",
        "Connection: Upgrade",
        "Sec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
        f"Origin: http://127.0.0.1:{live.port}",
    )
    return get(live, own(live, "live"), *more).replace(b"Connection: close\r\n", b"")


def test_a_page_that_stops_reading_does_not_hold_up_the_others(
    live: LivePage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its pictures fill the wire; a save elsewhere still reaches the pages beside it, in whatever order."""
    monkeypatch.setattr(server, "_PATIENCE_S", 3.0)
    with contextlib.ExitStack() as stack:
        stuck = stack.enter_context(socket.socket())
        stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stuck.connect(("127.0.0.1", live.port))
        stuck.sendall(hello(live))
        until(lambda: len(live._pages) == 1)
        (page,) = live._pages
        show = json.dumps({"kind": "show", "look": 0, "serial": 1, "stills": [0] * 1000})
        since = [time.monotonic()]

        def is_stuck() -> bool:
            if not page.sending.locked():
                stuck.sendall(frame(1, show.encode()))
                since[0] = time.monotonic()
                time.sleep(0.02)
            return time.monotonic() - since[0] > 0.5

        until(is_stuck)
        others = [stack.enter_context(joined(live)) for _ in range(6)]
        for other in others:
            heard(other, "state")
        (tmp_path / "wet_wool.toml").write_text('title = "Wet wool"\n[exposure]\nstops = 0.5\n')
        for other in others:
            told = heard(other, "look")
            assert "stops = 0.5" in told["look"]["versions"][-1]["text"]
        assert page.sending.locked()  # still
        until(lambda: page not in live._pages)  # given up
        with contextlib.suppress(ConnectionResetError):
            while stuck.recv(1 << 20):
                pass  # what was under way; then the connection ends, so that the page comes back and is told


def until(true: Callable[[], bool], seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


BROKEN_FRAMES = {
    "not masked": frame(1, b"{}", masked=False),
    "a reserved code": frame(3, b"{}"),
    "reserved bits": frame(1, b"{}", first=0xF0),
    "a length of all memory": frame(1, b"", length=b"\xff" + b"\x7f" + b"\xff" * 7),
    "a ping in pieces": frame(9, b"", first=0x00),
    "a ping of 126": frame(9, b"x" * 126, length=b"\xfe\x00\x7e"),
    "no UTF-8": frame(1, b"\xff\xfe"),
    "a close of one byte": frame(8, b"\x03"),
    "a close that says nothing there is": frame(8, b"\x00\x01"),
    "the end of what never began": frame(0, b"x"),
    "pieces without an end": frame(1, b"{", first=0x00) * 50,
}


@pytest.mark.parametrize("data", BROKEN_FRAMES.values(), ids=BROKEN_FRAMES)
def test_broken_frames_end_that_page_alone(live: LivePage, data: bytes) -> None:
    with joined(live) as other:
        heard(other, "state")
        got = sent(live, hello(live) + data)
        assert b" 101 " in got.split(b"\r\n", 1)[0]
        assert b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo=" in got  # the answer to this key in RFC 6455, 1.3
        other.send(json.dumps({"kind": "show", "look": 0, "serial": 5, "stills": [0]}))
        assert heard(other, "shown")["serial"] == 5
    assert home(live) == 200
