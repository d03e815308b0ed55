"""The live page's server: loopback alone, a token in the address, the session's stills and looks by number.

A page holds one WebSocket (RFC 6455). It asks for pictures of a look, and gets them as binary messages: four
bytes of length, a head as JSON, a JPEG, or, where the exact picture was asked for, its pixels (RGBA, a byte
each, row by row). Both are as large as the page shows them: a browser takes 10 ms for each megabyte that
comes over a socket, and 20 to scale a picture itself. Of the drafts that a page sends, the newest alone
waits. Nothing that a page sends is ever a path.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import socket
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect
from watchfiles import awatch

from lookdev.errors import LookdevError, one_line
from lookdev.watch.guard import HOST, Guard, not_here
from lookdev.watch.live_still import Picture, shown_at
from lookdev.watch.session import Fault, Session, live_jpeg

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike

MOST_MESSAGE_BYTES = 1_000_000
_SETTLE_MS, _STEP_MS = 40, 10
_WHOLE_PX = 1 << 16  # more than any still has: the page did not say at which size it shows one
_PATIENCE_S = 20.0  # with a page that does not take what it is told
_ASSETS = {"page.css": "text/css", "page.js": "text/javascript"}

Json = dict[str, Any]


@dataclass(eq=False)
class _Page:
    """One open page: its socket, and the pictures that it waits for."""

    socket: WebSocket
    end: Callable[[], object]
    wanted: Json | None = None
    woken: asyncio.Event = field(default_factory=asyncio.Event)
    sending: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def tell(self, message: Json) -> None:
        async with self.sending:
            await self.socket.send_text(json.dumps(message, ensure_ascii=False))

    async def show(self, head: Json, picture: bytes) -> None:
        raw = json.dumps(head).encode()
        async with self.sending:
            await self.socket.send_bytes(len(raw).to_bytes(4, "big") + raw + picture)


class LivePage:
    """A session on a free port of the loopback address, until :meth:`stop`.

    >>> page = LivePage(session)                                              # doctest: +SKIP
    >>> with page.running():                                                  # doctest: +SKIP
    ...     print(page.address)
    http://127.0.0.1:41873/kx0C…/
    """

    def __init__(self, session: Session) -> None:
        self.session, self.token = session, secrets.token_urlsafe(24)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.bind((HOST, 0))
        self._socket.listen()  # who comes before it is served waits
        self.port: int = self._socket.getsockname()[1]
        self._pages: set[_Page] = set()
        self._telling: set[asyncio.Task[None]] = set()
        self._pool = ThreadPoolExecutor(2, thread_name_prefix="look")
        self._end: asyncio.Event | None = None
        guarded = Guard(self._app(), self.token, self.port)
        self._server = uvicorn.Server(
            uvicorn.Config(
                guarded,
                log_config=None,
                log_level="critical",
                access_log=False,
                server_header=False,
                ws="websockets-sansio",
                ws_max_size=MOST_MESSAGE_BYTES,
                ws_per_message_deflate=False,
                timeout_graceful_shutdown=1,
            )
        )

    @property
    def address(self) -> str:
        """Where the page is, token and all."""
        return f"http://{HOST}:{self.port}/{self.token}/"

    def serve(self) -> None:
        """Serve until :meth:`stop`, or, in the main thread, Ctrl-C; then the port and all threads are free.

        Raises
        ------
        KeyboardInterrupt : it was Ctrl-C.
        """
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self._socket.close()
            self._pool.shutdown(wait=True, cancel_futures=True)

    def stop(self) -> None:
        """End :meth:`serve`, from any thread."""
        self._server.should_exit = True

    @contextlib.contextmanager
    def running(self) -> Iterator[LivePage]:
        """Serve in a thread of its own while the block runs."""
        thread = threading.Thread(target=self.serve, name="live page")
        thread.start()
        try:
            yield self
        finally:
            self.stop()
            thread.join()

    # the application

    def _app(self) -> Starlette:
        return Starlette(
            routes=[
                Route("/", self._home),
                Route("/{name}", self._asset),
                Route("/stood/{still:int}.png", self._stood),
                Route("/small/{look:int}/{version:int}.jpeg", self._small),
                Route("/still/{still:int}/{look:int}/{version:int}.png", self._still),
                WebSocketRoute("/live", self._live),
            ],
            lifespan=self._lifespan,
        )

    @contextlib.asynccontextmanager
    async def _lifespan(self, app: Starlette) -> AsyncIterator[None]:
        self._end = asyncio.Event()
        watching = asyncio.create_task(self._watch(self._end))
        try:
            yield
        finally:
            self._end.set()
            await watching
            for task in list(self._telling):
                task.cancel()

    async def _home(self, request: Request) -> Response:
        return Response(_asset("page.html"), media_type="text/html")

    async def _asset(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _ASSETS:
            return not_here()
        return Response(_asset(name), media_type=_ASSETS[name])

    async def _stood(self, request: Request) -> Response:
        number = request.path_params["still"]
        if number >= len(self.session.stills):
            return not_here()
        still, size = self.session.stills[number], _size_asked(request)
        data = await self._work(lambda: _png(shown_at(still.as_it_stood(), size)))
        return Response(data, media_type="image/png")

    async def _still(self, request: Request) -> Response:
        still, look, version = (request.path_params[name] for name in ("still", "look", "version"))
        if still >= len(self.session.stills) or look >= len(self.session.looks):
            return not_here()
        size = _size_asked(request)

        def make() -> bytes | None:
            made = self.session.look_of(look, version)
            return None if made is None else _png(shown_at(self.session.picture(still, made), size))

        data = await self._work(make)
        return not_here() if data is None else Response(data, media_type="image/png")

    async def _small(self, request: Request) -> Response:
        look, version = (request.path_params[name] for name in ("look", "version"))
        if look >= len(self.session.looks):
            return not_here()
        data = await self._work(lambda: self.session.small(look, version))
        return not_here() if data is None else Response(data, media_type="image/jpeg")

    async def _work(self, work: Callable[[], Any]) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._pool, work)

    # the socket

    async def _live(self, socket: WebSocket) -> None:
        await socket.accept()
        serving = asyncio.current_task()
        assert serving is not None
        page = _Page(socket, serving.cancel)
        self._pages.add(page)
        drawing = asyncio.create_task(self._draw(page))
        try:
            await page.tell(self._state())
            while True:
                message = await socket.receive()
                if message["type"] == "websocket.disconnect":
                    break
                await self._heard(page, message.get("text"))
        except (WebSocketDisconnect, RuntimeError):
            pass  # it went away while it was being told something
        finally:
            self._pages.discard(page)
            drawing.cancel()
            with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
                await drawing

    async def _heard(self, page: _Page, text: str | None) -> None:
        message = _understood(text)
        kind = message.get("kind")
        if kind not in ("show", "save") or not self._is_look(message.get("look")):
            await page.tell({"kind": "told", "words": "The page sent what the server does not understand."})
        elif kind == "show":
            page.wanted = message
            page.woken.set()
        else:
            await self._save(page, message)

    def _is_look(self, number: object) -> bool:
        return type(number) is int and 0 <= number < len(self.session.looks)

    async def _save(self, page: _Page, message: Json) -> None:
        look, text, began_with = message["look"], message.get("text"), message.get("began_with")
        if not isinstance(text, str) or type(began_with) is not int:
            await page.tell({"kind": "told", "words": "The page sent what the server does not understand."})
            return
        over = message.get("over") is True
        saved = await run_in_threadpool(self.session.save, look, text, began_with, over)
        await self._tell_of([look, *await self._based_on(look)], first=page)
        await page.tell({"kind": saved.outcome, "look": look, "words": saved.words})

    async def _based_on(self, look: int) -> list[int]:
        """Looks that changed because they are based on look number ``look``."""

        def again() -> list[int]:
            path = self.session.looks[look].path.absolute()
            return self.session.read_again(n for n in self.session.files().get(path, ()) if n != look)

        return await run_in_threadpool(again)

    async def _draw(self, page: _Page) -> None:
        while True:
            await page.woken.wait()
            page.woken.clear()
            wanted, page.wanted = page.wanted, None
            if wanted is None:
                continue
            try:
                await self._answer(page, wanted)
            except (WebSocketDisconnect, RuntimeError):
                return  # it went away meanwhile
            except (LookdevError, MemoryError, OSError) as error:
                await page.tell({"kind": "told", "words": one_line(str(error))})

    async def _answer(self, page: _Page, wanted: Json) -> None:
        look, text, serial = wanted["look"], wanted.get("text"), wanted.get("serial")
        stills, quick = self._stills(wanted.get("stills")), self._stills(wanted.get("quick"))
        live = self.session.looks[look]
        made: LookLike | Fault | None = live.newest.fault or live.look
        if isinstance(text, str) and live.is_text and text != live.newest.text:
            made = await self._work(lambda: self.session.draft(look, text))
        head: Json = {"kind": "shown", "serial": serial, "look": look, "fault": None, "more": False}
        if made is None or isinstance(made, Fault):
            head["fault"] = _fault(made)
        else:
            sizes, exact = _sizes(wanted.get("sizes"), stills), wanted.get("exact") is True
            works = [
                self._work(partial(self._live_picture, n, made, n in quick, sizes[n], exact))
                for n in dict.fromkeys(stills)
            ]
            for work in asyncio.as_completed(works):  # the browser draws one while the next is worked out
                its, picture = await work
                await page.show({"serial": serial, "look": look, **its}, picture)
            head["more"] = bool(works) and (not exact or any(n in quick for n in stills))
        await page.tell(head)

    def _stills(self, asked: object) -> list[int]:
        known = range(len(self.session.stills))
        return [n for n in asked if type(n) is int and n in known] if isinstance(asked, list) else []

    def _live_picture(
        self, still: int, look: LookLike, quick: bool, size: tuple[int, int], exact: bool
    ) -> tuple[Json, bytes]:
        picture = shown_at(self.session.picture(still, look, quick), size)
        its = {"still": still, "width": picture.shape[1], "height": picture.shape[0], "exact": exact}
        return its, _rgba(picture) if exact else live_jpeg(picture)

    # what is saved elsewhere

    async def _watch(self, end: asyncio.Event) -> None:
        """Tell the pages of files that were saved elsewhere, until ``end``."""
        while not end.is_set():
            files = await run_in_threadpool(self.session.files)
            folders = {path.parent for path in files if path.parent.is_dir()}
            if not folders:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(end.wait(), 1.0)
                continue
            with contextlib.suppress(OSError, RuntimeError):
                async for changes in awatch(
                    *folders,
                    watch_filter=None,
                    recursive=False,
                    debounce=_SETTLE_MS,
                    step=_STEP_MS,
                    stop_event=end,
                ):
                    names = {Path(path) for _, path in changes}
                    touched = {n for path, looks in files.items() if path in names for n in looks}
                    if touched:
                        await self._tell_of(await run_in_threadpool(self.session.read_again, sorted(touched)))
                    await self._tell_of(await run_in_threadpool(self.session.new_looks))
                    files = await run_in_threadpool(self.session.files)
                    if folders != {path.parent for path in files if path.parent.is_dir()}:
                        break  # a base in another folder

    async def _tell_of(self, looks: list[int], first: _Page | None = None) -> None:
        """Tell every page; waits for ``first`` alone: one that stopped reading must not hold up the rest."""
        news: list[Json] = [{"kind": "look", "number": n, "look": self._look(n)} for n in looks]
        for page in list(self._pages - {first}):
            task = asyncio.create_task(self._pass_on(page, news))
            self._telling.add(task)
            task.add_done_callback(self._telling.discard)
        if first is not None:
            await self._pass_on(first, news)

    async def _pass_on(self, page: _Page, news: list[Json]) -> None:
        try:
            async with asyncio.timeout(_PATIENCE_S):
                for message in news:
                    await page.tell(message)
        except (WebSocketDisconnect, RuntimeError):
            pass  # it went away meanwhile
        except TimeoutError:
            page.end()  # not listening; it says so, and when it comes back it is told all there is

    # what the page is told

    def _state(self) -> Json:
        stills = [
            {
                "name": still.surveyed.name,
                "location": still.surveyed.location,
                "width": still.pixels.shape[1],
                "height": still.pixels.shape[0],
                "slow": still.is_slow,
            }
            for still in self.session.stills
        ]
        return {
            "kind": "state",
            "stills": stills,
            "looks": [self._look(n) for n in range(len(self.session.looks))],
        }

    def _look(self, number: int) -> Json:
        live = self.session.looks[number]
        return {
            "name": live.name,
            "file": live.path.name,
            "is_text": live.is_text,
            "round": live.round,
            "fault": _fault(live.newest.fault) if live.newest.fault else None,
            "versions": [
                {"number": v.number, "text": v.text, "title": v.title, "reads": v.fault is None}
                for v in live.versions
            ],
        }


def _png(picture: Any) -> bytes:
    import cv2

    done, data = cv2.imencode(".png", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR))
    assert done
    return bytes(data)


def _rgba(picture: Picture) -> bytes:
    import cv2

    return cv2.cvtColor(picture, cv2.COLOR_RGB2RGBA).tobytes()


def _size_asked(request: Request) -> tuple[int, int]:
    """Width and height that the page shows a picture at, from the address's query."""
    sides = [request.query_params.get(name, "") for name in ("width", "height")]
    return _size([int(s) if s.isascii() and s.isdigit() and len(s) < 6 else _WHOLE_PX for s in sides])


def _sizes(asked: object, stills: list[int]) -> dict[int, tuple[int, int]]:
    """Width and height that the page shows each of ``stills`` at; whole where it does not say."""
    given = asked if isinstance(asked, dict) else {}
    return {n: _size(given.get(str(n))) for n in stills}


def _size(asked: object) -> tuple[int, int]:
    if isinstance(asked, list) and len(asked) == 2 and all(type(s) is int and s > 0 for s in asked):
        return min(asked[0], _WHOLE_PX), min(asked[1], _WHOLE_PX)
    return _WHOLE_PX, _WHOLE_PX


def _asset(name: str) -> str:
    return resources.files("lookdev.watch").joinpath(name).read_text("utf-8")


def _understood(text: str | None) -> Json:
    try:
        message = json.loads(text or "")
    except (ValueError, RecursionError):
        return {}
    return message if isinstance(message, dict) else {}


def _fault(fault: Fault | None) -> Json:
    return (
        {"line": fault.line, "words": fault.words}
        if fault is not None
        else {"line": 1, "words": "cannot be read"}
    )
