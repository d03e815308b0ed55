"""The live page in a real browser, and what is refused at its door."""

from __future__ import annotations

import http.client
import json
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from base64 import b64decode
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from watched_look import LOOK

import lookdev
from lookdev.jobs.watch import WatchRequest, open_page
from lookdev.looks.toml_file import load_look
from lookdev.render.grader import Output
from lookdev.render.preview import do_preview
from lookdev.render.tasks import Task
from lookdev.watch.live_still import shown_at
from lookdev.watch.server import MOST_MESSAGE_BYTES, LivePage
from lookdev.watch.session import Session, choose_stills, open_stills

ROOT = Path(__file__).parents[2]
EDGE = 400


@pytest.fixture(scope="module")
def stills() -> Any:
    """Landscapes, so small that the page shows them at their own size or larger: their pixels can be read."""
    surveyed = lookdev.survey(lookdev.open_scout(ROOT / "sample_frames"))
    names = ("01_ferry_hall_wide.jpg", "03_loading_dock_wide.jpg", "06_net_loft_gable.jpg")
    return open_stills(choose_stills(surveyed, names), EDGE)


@pytest.fixture
def looks(tmp_path: Path) -> Path:
    folder = tmp_path / "looks"
    folder.mkdir()
    (folder / "slack_water.toml").write_text(LOOK, encoding="utf-8")
    shutil.copy(ROOT / "looks" / "wet_wool.toml", folder)
    return folder


@pytest.fixture
def live(stills: Any, looks: Path) -> Iterator[LivePage]:
    with LivePage(Session(stills, [looks])).running() as page:
        until(lambda: answer(page, f"/{page.token}/")[0] == 200)
        yield page


@pytest.fixture
def page(browser: Any, live: LivePage) -> Iterator[Any]:
    yield from opened(browser, live)


def opened(browser: Any, live: LivePage) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1500, "height": 900})
    page, wrong = context.new_page(), []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(live.address)
    until(lambda: page.evaluate("document.querySelectorAll('canvas').length === 6"))
    yield page
    context.close()
    assert wrong == []


def until(true: Callable[[], bool], seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)


def answer(live: LivePage, path: str, **headers: str) -> tuple[int, bytes, dict[str, str]]:
    connection = http.client.HTTPConnection("127.0.0.1", live.port, timeout=60)
    try:
        connection.request("GET", path, headers=headers)
        got = connection.getresponse()
        return got.status, got.read(), {k.lower(): v for k, v in got.getheaders()}
    finally:
        connection.close()


def caret_in(page: Any, words: str, at: int = 1) -> None:
    page.evaluate(
        """([words, at]) => { const t = document.getElementById('text'); t.focus();
        const i = t.value.indexOf(words) + at; t.setSelectionRange(i, i); }""",
        [words, at],
    )


def text_of(page: Any) -> str:
    return str(page.input_value("#text"))


def shows(page: Any, live: LivePage, still: int, look: Path) -> bool:
    """Whether a still's canvas holds the still in a look file as it stands, to the code, at its size."""
    address = page.evaluate(
        """(n) => [...document.querySelectorAll('figure')][n].querySelector('canvas:not([hidden])')
        .toDataURL('image/png')""",
        still,
    )
    seen = cv2.imdecode(np.frombuffer(b64decode(address.partition(",")[2]), np.uint8), cv2.IMREAD_COLOR)
    whole = live.session.stills[still].graded(load_look(look))
    return np.array_equal(seen[..., ::-1], shown_at(whole, (seen.shape[1], seen.shape[0])))


def test_a_file_saved_elsewhere_is_seen(page: Any, live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    until(lambda: all(shows(page, live, still, path) for still in range(3)))
    path.write_text(path.read_text().replace("keep = 0.35", "keep = 0.95  # all of it"))
    until(lambda: all(shows(page, live, still, path) for still in range(3)))
    assert "keep = 0.95  # all of it" in text_of(page)
    until(lambda: page.locator("#versions button").count() == 2)
    before = looks.parent / "before.toml"
    before.write_text(LOOK, encoding="utf-8")
    assert not shows(page, live, 1, before)


def test_a_new_file_in_the_folder_is_seen(page: Any, live: LivePage, looks: Path) -> None:
    """A look saved into the folder while the page is open stands among the others, and is followed."""
    count = len(live.session.looks)
    (looks / "z_new.toml").write_text(LOOK.replace("Slack water", "Came late"), encoding="utf-8")
    until(lambda: len(live.session.looks) == count + 1)
    until(lambda: "Came late" in page.inner_text("#look"))
    page.select_option("#look", label="Came late")
    until(lambda: shows(page, live, 0, looks / "z_new.toml"))
    (looks / "z_new.toml").write_text(LOOK.replace("-0.3", "-1.3"), encoding="utf-8")
    until(lambda: shows(page, live, 0, looks / "z_new.toml"))


def test_a_number_is_nudged_seen_and_saved(page: Any, live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    path.write_text("# night, the pier\n" + path.read_text())
    until(lambda: text_of(page).startswith("# night"))
    caret_in(page, "0.35")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Shift+ArrowUp")
    assert "keep = 0.90" in text_of(page)
    until(lambda: page.locator("#state").inner_text() == "not saved")
    assert "keep = 0.35" in path.read_text()
    page.keyboard.press("Control+s")
    until(lambda: page.locator("#state").inner_text() == "saved")
    assert path.read_text() == text_of(page) and path.read_text().startswith("# night, the pier\n")
    until(lambda: all(shows(page, live, still, path) for still in range(3)))
    assert sorted(p.name for p in looks.iterdir()) == ["slack_water.toml", "wet_wool.toml"]
    last = page.locator("#versions button").last
    until(lambda: last.inner_text().strip() == "balance.keep 0.35 to 0.9")


@pytest.mark.parametrize(
    ("text", "at", "key", "after"),
    [
        ("[exposure]\nstops = -0.3", "0.3", "ArrowUp", "[exposure]\nstops = -0.25"),
        ("[exposure]\nstops = -0.05", "0.05", "ArrowUp", "[exposure]\nstops = 0.00"),
        ("[balance]\nmired = -12 # 12 K", "12", "ArrowDown", "[balance]\nmired = -14 # 12 K"),
        ("[balance]\nkeep = 0.4", "0.4", "Shift+ArrowDown", "[balance]\nkeep = -0.10"),
        ("[colour]\nsaturation = 1", "1", "ArrowUp", "[colour]\nsaturation = 1.02"),
        ("[colour.families.G]\nchroma = 0.7", "0.7", "ArrowUp", "[colour.families.G]\nchroma = 0.75"),
        ("[curve]\ncontrast = +1.1", "1.1", "ArrowDown", "[curve]\ncontrast = +1.08"),
        ("[curve]\nblack = 0.003", "0.003", "ArrowUp", "[curve]\nblack = 0.004"),
        ("[cdl]\nslope = [1.0, 1.2, 1.0]", "1.2", "ArrowUp", "[cdl]\nslope = [1.0, 1.21, 1.0]"),
        ("curve.contrast = 1.1", "1.1", "ArrowUp", "curve.contrast = 1.12"),
        ("[curve] # 1\ncontrast = 1.1", "1.1", "ArrowUp", "[curve] # 1\ncontrast = 1.12"),
        ("note = 'take 2'", "2'", "ArrowUp", "note = 'take 2'"),
        ("# 5 stops\n", "5", "ArrowUp", "# 5 stops\n"),
        ('[[tone]]\ntowards = "5B"', "5B", "ArrowUp", '[[tone]]\ntowards = "5B"'),
    ],
)
def test_each_number_has_its_natural_step(page: Any, text: str, at: str, key: str, after: str) -> None:
    until(lambda: text_of(page) != "")
    page.fill("#text", text)
    caret_in(page, at)
    page.keyboard.press(key)
    assert text_of(page) == after


def test_the_caret_walks_through_numbers_on_its_way_down(page: Any) -> None:
    until(lambda: text_of(page) != "")
    page.fill("#text", "# a line\n[exposure]\nstops = 1.00\n\n")
    caret_in(page, "line", 3)
    for _ in range(3):
        page.keyboard.press("ArrowDown")
    assert text_of(page) == "# a line\n[exposure]\nstops = 1.00\n\n"
    page.keyboard.press("ArrowUp")  # back in the number
    page.keyboard.press("End")
    page.keyboard.press("ArrowUp")
    assert "stops = 1.05" in text_of(page)


def test_a_number_is_dragged_and_all_is_undone(page: Any) -> None:
    until(lambda: text_of(page) != "")
    page.fill("#text", "[balance]\nkeep = 0.40\n")
    box = page.locator("#text").bounding_box()
    assert box is not None
    x, y = box["x"] + 10 + 8.4 * 8, box["y"] + 6 + 28 * 1.5
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 12, y)
    page.mouse.move(x + 25, y)
    page.mouse.up()
    assert text_of(page) == "[balance]\nkeep = 0.60\n"
    page.mouse.move(x + 200, y)
    assert text_of(page) == "[balance]\nkeep = 0.60\n"


def test_an_error_stands_under_its_line_and_the_picture_stays(page: Any, live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    until(lambda: all(shows(page, live, still, path) for still in range(3)))
    page.fill("#text", "[curve]\ncontrast = 1.1\nshoulder = 7\n\n[colour]\n")
    until(lambda: page.evaluate("document.getElementById('fault').textContent !== ''"))
    assert page.locator("#fault").inner_text().startswith("Line 3: key curve.shoulder: out of range")
    mark, text = page.locator("#mark").bounding_box(), page.locator("#text").bounding_box()
    assert mark is not None and text is not None
    assert 6 + 28 * 3 - 10 <= mark["y"] - text["y"] <= 6 + 28 * 3  # at the foot of the third line
    assert page.get_attribute("#text", "aria-invalid") == "true"
    assert shows(page, live, 0, path)
    page.fill("#text", "[curve]\ncontrast = 1.1\nshoulder = 0.7\n")
    until(lambda: page.evaluate("document.getElementById('fault').textContent === ''"))
    assert page.locator("#mark").is_hidden()


def test_held_before_and_as_it_stood(page: Any, live: LivePage, looks: Path) -> None:
    path, bare = looks / "slack_water.toml", looks.parent / "bare.toml"
    bare.write_text("title = 'as it stood'\n")
    dark = looks.parent / "dark.toml"
    dark.write_text("[exposure]\nstops = -3\n")
    until(lambda: shows(page, live, 0, path))
    page.fill("#text", dark.read_text())
    until(lambda: all(shows(page, live, still, dark) for still in range(3)))
    page.keyboard.down("F2")
    until(lambda: all(shows(page, live, still, path) for still in range(3)))
    page.keyboard.up("F2")
    assert all(shows(page, live, still, dark) for still in range(3))
    page.locator("#stood").dispatch_event("pointerdown")
    until(lambda: page.locator("figcaption").first.inner_text().endswith("as it stood"))
    until(lambda: page.locator("canvas:visible").count() == 3 and not shows(page, live, 0, dark))
    page.locator("#stood").dispatch_event("pointerup")
    assert all(shows(page, live, still, dark) for still in range(3))


def test_the_pictures_are_as_large_as_the_page_shows_them(page: Any, live: LivePage, looks: Path) -> None:
    """The canvas has the pixels of the screen, as the window is made smaller and larger again."""
    path = looks / "slack_water.toml"

    def widths() -> Any:
        return page.evaluate("""[...document.querySelectorAll('canvas:not([hidden])')].map((canvas) =>
            [canvas.width, Math.round(canvas.getBoundingClientRect().width)])""")

    for width, is_smaller in ((900, True), (1500, False)):
        page.set_viewport_size({"width": width, "height": 600 if is_smaller else 900})
        until(lambda: all(shows(page, live, still, path) for still in range(3)))
        until(lambda: all(drawn == min(EDGE, box) for drawn, box in widths()))
        assert all((drawn < EDGE) is is_smaller for drawn, _ in widths())
    page.fill("#text", path.read_text().replace("keep = 0.35", "keep = 0.95"))  # at rest to the code as well
    (looks.parent / "typed.toml").write_text(text_of(page), encoding="utf-8")
    until(lambda: all(shows(page, live, still, looks.parent / "typed.toml") for still in range(3)))


def test_a_version_is_taken_back(page: Any, looks: Path) -> None:
    path = looks / "slack_water.toml"
    first = path.read_text()
    until(lambda: text_of(page) == first)
    for keep in ("0.5", "0.6"):
        page.fill("#text", f"[balance]\nkeep = {keep}\n")
        page.click("#save")
        until(lambda: page.locator("#state").inner_text() == "saved")
    page.locator("#versions button").first.click()
    assert text_of(page) == first and page.locator("#state").inner_text() == "not saved"
    assert path.read_text() == "[balance]\nkeep = 0.6\n"
    page.keyboard.press("Control+s")
    until(lambda: path.read_text() == first)


def test_two_pages_and_a_save_that_would_lose_the_other(browser: Any, live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    one, two = (opened(browser, live) for _ in range(2))
    left, right = next(one), next(two)
    until(lambda: text_of(left) != "" and text_of(right) != "")
    right.fill("#text", "[balance]\nkeep = 0.2\n")
    left.fill("#text", "[balance]\nkeep = 0.7\n")
    left.click("#save")
    until(lambda: path.read_text() == "[balance]\nkeep = 0.7\n")
    until(lambda: right.locator("#asked").is_visible())
    assert text_of(right) == "[balance]\nkeep = 0.2\n"
    right.keyboard.press("Control+s")
    until(lambda: right.locator("#asked").is_visible())
    assert path.read_text() == "[balance]\nkeep = 0.7\n"
    right.click("#mine")
    until(lambda: path.read_text() == "[balance]\nkeep = 0.2\n")
    until(lambda: text_of(left) == "[balance]\nkeep = 0.2\n")
    for each in (one, two):
        assert next(each, None) is None


def test_a_lost_connection_says_so_and_comes_back(page: Any, live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    until(lambda: text_of(page) != "")
    page.fill("#text", "[balance]\nkeep = 0.2\n")
    page.evaluate("""() => { window.seen = false; const lost = document.getElementById('lost');
        const look = () => { window.seen = window.seen || !lost.hidden; };
        new MutationObserver(look).observe(lost, {attributes: true}); }""")
    for connection in list(live._server.server_state.connections):
        live._server.servers[0].get_loop().call_soon_threadsafe(connection.transport.abort)
    until(lambda: page.evaluate("window.seen && document.getElementById('lost').hidden"))
    assert text_of(page) == "[balance]\nkeep = 0.2\n"
    page.keyboard.press("Control+s")
    until(lambda: path.read_text() == "[balance]\nkeep = 0.2\n")
    until(lambda: shows(page, live, 0, path))


def test_the_png_is_the_graded_preview_to_the_code(page: Any, live: LivePage, looks: Path) -> None:
    until(lambda: page.locator("#files a").count() == 3)
    href = page.locator("#files a").nth(1).get_attribute("href")
    status, data, _ = answer(live, f"/{live.token}/{href}")
    assert status == 200
    png = cv2.cvtColor(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    still = live.session.stills[1].surveyed
    output = Output(load_look(looks / "slack_water.toml"), Path("x.jpg"), still.cast, still.exposure_stops)
    preview = do_preview(Task(still.path, (output,), thumbnail_box=(EDGE, EDGE), light_xy=still.light_xy))
    assert preview.graded[0] is not None and np.array_equal(png, preview.graded[0])
    stood = cv2.imdecode(
        np.frombuffer(answer(live, f"/{live.token}/stood/1.png")[1], np.uint8), cv2.IMREAD_COLOR
    )
    assert np.array_equal(stood[..., ::-1], preview.as_it_stood)


def test_every_control_has_a_name(page: Any) -> None:
    until(lambda: text_of(page) != "")
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll('button, select, textarea, a[href]')].filter((node) =>
        !(node.getAttribute('aria-label') || node.textContent.trim() || (node.labels && node.labels.length)))
        .map((node) => node.outerHTML)"""
    )
    assert unnamed == []


# the door


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/page.js",
        "/{token}",
        "/{token}x/",
        "/{short}/",
        "/%2e%2e/{token}/",
        "/{token}/../../etc/passwd",
        "/{token}/..%2f..%2f..%2fetc%2fpasswd",
        "/{token}/%2e%2e/session.py",
        "/{token}/session.py",
        "/{token}/..\\session.py",
        "/{token}//etc/passwd",
        "/{token}/stood/..%2f0.png",
        "/{token}/stood/99.png",
        "/{token}/stood/-1.png",
        "/{token}/still/0/0/0.gif",
        "/{token}/still/0/0/..%2f..%2f0.png",
        "/{token}/still/0/9/0.png",
        "/{token}/still/0/0/99999999999999999999.png",
        "/{token}/page.html%00",
        "/{token}/live",
    ],
)
def test_nothing_else_is_read_through_it(live: LivePage, path: str) -> None:
    status, body, _ = answer(live, path.format(token=live.token, short=live.token[:-1]))
    assert status in (404, 400)
    assert b"root:" not in body and b"import" not in body


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "velmsund.example"},
        {"Host": "127.0.0.1"},
        {"Host": "127.0.0.1.velmsund.example:{port}"},
        {"Host": "127.0.0.1:{port}@velmsund.example"},
        {"Origin": "http://velmsund.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:{port}"},
    ],
)
def test_another_host_or_origin_is_refused(live: LivePage, headers: dict[str, str]) -> None:
    sent = {name: value.format(port=live.port) for name, value in headers.items()}
    assert answer(live, f"/{live.token}/", **sent)[0] == 404
    assert answer(live, f"/{live.token}/")[0] == 200


def test_what_every_answer_says_of_itself(live: LivePage) -> None:
    for path in (f"/{live.token}/", f"/{live.token}/page.js", "/elsewhere"):
        headers = answer(live, path)[2]
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in headers and "server" not in headers


def joined(live: LivePage, origin: str | None = "own", token: str | None = None, **more: Any) -> Any:
    from websockets.sync.client import connect

    own = f"http://127.0.0.1:{live.port}"
    address = f"ws://127.0.0.1:{live.port}/{token or live.token}/live"
    return connect(address, origin=own if origin == "own" else origin, max_size=None, **more)


@pytest.mark.parametrize(
    ("origin", "token"),
    [
        ("http://velmsund.example", None),
        (None, None),
        ("null", None),
        ("own", "guessed"),
        ("own", "x" * 5000),
    ],
)
def test_a_foreign_page_gets_no_socket(live: LivePage, origin: str | None, token: str | None) -> None:
    from websockets.exceptions import InvalidStatus

    with pytest.raises(InvalidStatus) as refused:
        joined(live, origin, token)
    assert refused.value.response.status_code == 403


def heard(socket: Any, kind: str) -> Any:
    while True:
        got = socket.recv(timeout=60)
        if isinstance(got, str) and (message := json.loads(got))["kind"] == kind:
            return message


@pytest.mark.parametrize(
    "message",
    [
        "",
        "{",
        "[]",
        "[" * 100_000,
        '"show"',
        "{}",
        '{"kind": "show"}',
        '{"kind": "show", "look": "../../etc/passwd"}',
        '{"kind": "show", "look": 99}',
        '{"kind": "show", "look": -1}',
        '{"kind": "show", "look": true}',
        '{"kind": "save", "look": 0}',
        '{"kind": "save", "look": 0, "text": 5, "began_with": 0}',
        '{"kind": "save", "look": 0, "text": "", "began_with": "0"}',
        '{"kind": "save", "look": "/tmp/x.toml", "text": "", "began_with": 0}',
        b"\x00\xff",
    ],
)
def test_broken_messages_are_answered_and_change_nothing(
    live: LivePage, looks: Path, message: str | bytes
) -> None:
    before = {path: path.read_bytes() for path in looks.iterdir()}
    with joined(live) as socket:
        heard(socket, "state")
        socket.send(message)
        assert "does not understand" in heard(socket, "told")["words"]
        asked = {"kind": "show", "look": 0, "serial": 7, "stills": [0, 99, "0", -1, None]}
        socket.send(json.dumps({**asked, "sizes": {"0": [-4, "x"], "9": None, "1": 7}, "exact": "no"}))
        assert heard(socket, "shown")["serial"] == 7
    assert {path: path.read_bytes() for path in looks.iterdir()} == before


def test_an_oversized_message_ends_that_page_alone(live: LivePage, looks: Path) -> None:
    from websockets.exceptions import ConnectionClosed

    with joined(live) as other:
        with joined(live) as socket:
            heard(socket, "state")
            with pytest.raises(ConnectionClosed) as closed:
                socket.send("x" * (MOST_MESSAGE_BYTES + 1))
                heard(socket, "told")
            assert closed.value.rcvd is not None and closed.value.rcvd.code == 1009
        heard(other, "state")
        other.send(json.dumps({"kind": "show", "look": 0, "serial": 1, "stills": [0]}))
        assert heard(other, "shown")["serial"] == 1


def test_of_many_drafts_the_newest_is_always_answered(live: LivePage) -> None:
    with joined(live) as socket:
        heard(socket, "state")
        for serial in range(200):
            text = f"[exposure]\nstops = {serial / 100}\n"
            socket.send(
                json.dumps({"kind": "show", "look": 0, "serial": serial, "stills": [0, 1], "text": text})
            )
        while heard(socket, "shown")["serial"] != 199:
            pass


def test_a_look_that_goes_away_and_comes_back(live: LivePage, looks: Path) -> None:
    path = looks / "slack_water.toml"
    with joined(live) as socket:
        heard(socket, "state")
        text = path.read_text()
        path.unlink()
        while not heard(socket, "look")["look"]["fault"]:
            pass
        path.mkdir()
        socket.send(json.dumps({"kind": "save", "look": 0, "text": "# mine", "began_with": 0, "over": True}))
        assert "slack_water.toml" in heard(socket, "failed")["words"]
        path.rmdir()
        path.write_text(text)
        while heard(socket, "look")["look"]["fault"]:
            pass


def test_the_job_says_what_it_wants(tmp_path: Path) -> None:
    scout = lookdev.open_scout(ROOT / "sample_frames")
    with pytest.raises(lookdev.RequestError, match="no looks given"):
        open_page(WatchRequest(scout))
    with pytest.raises(lookdev.RequestError, match="no such still"):
        open_page(WatchRequest(scout, (ROOT / "looks",), ("x.jpg",)))
    assert threading.active_count() == len(threading.enumerate())


def test_ctrl_c_ends_in_one_line_and_leaves_nothing(looks: Path) -> None:
    before = {path: path.read_bytes() for path in looks.iterdir()}
    command = [sys.executable, "-m", "lookdev", "watch", str(ROOT / "sample_frames"), "--looks", str(looks)]
    asked = [*command, "--no-browser", "--stills", "08_cabin_bunk.jpg"]
    child = subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stdout is not None
    address = child.stdout.readline()
    found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/([\w-]{32})/\n", address)
    assert found is not None
    own = f"http://127.0.0.1:{found[1]}"
    from websockets.sync.client import connect

    until(lambda: _is_open(int(found[1])))
    with connect(f"ws://127.0.0.1:{found[1]}/{found[2]}/live", origin=own, max_size=None) as socket:
        heard(socket, "state")
        child.send_signal(signal.SIGINT)
        out, told = child.communicate(timeout=60)
    assert out == "" and child.returncode == 0
    assert told.splitlines()[-1] == "lookdev: the page is closed; every look is as it was saved last"
    assert "Traceback" not in told
    assert not _is_open(int(found[1]))
    assert {path: path.read_bytes() for path in looks.iterdir()} == before


def _is_open(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/")
        return connection.getresponse().status == 404
    except OSError:
        return False
    finally:
        connection.close()
