"""Who may speak to the live page: its own page on the loopback address, by its token; nobody else."""

from __future__ import annotations

import secrets
from typing import Any

from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

HOST = "127.0.0.1"


class Guard:
    """Lets through what comes from its own page: loopback host, right token, own origin; all else is 404."""

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self._app, self._token = app, token.encode()
        self._hosts = {f"{name}:{port}".encode() for name in (HOST, "localhost")}
        self._headers = _headers(port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif not self._is_ours(scope):
            if scope["type"] == "websocket":
                await receive()
                await send({"type": "websocket.close", "code": 1008})
            else:
                await not_here()(scope, receive, self._with_headers(send))
        else:
            rest = "/" + scope["path"].split("/", 2)[2]
            inner = {**scope, "path": rest, "raw_path": rest.encode(), "root_path": ""}
            await self._app(inner, receive, self._with_headers(send) if scope["type"] == "http" else send)

    def _is_ours(self, scope: Scope) -> bool:
        told: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            told.setdefault(name.lower(), []).append(value)
        hosts, origins = told.get(b"host", []), told.get(b"origin", [])
        parts = scope["path"].split("/", 2)
        token = parts[1].encode("utf-8", "replace") if len(parts) == 3 else b""
        own = [b"http://" + host for host in hosts]
        return (
            len(hosts) == 1
            and hosts[0] in self._hosts
            and secrets.compare_digest(token, self._token)
            and (origins == own or (scope["type"] == "http" and not origins))
        )

    def _with_headers(self, send: Send) -> Send:
        async def sending(message: Any) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *self._headers]}
            await send(message)

        return sending


def _headers(port: int) -> list[tuple[bytes, bytes]]:
    """Of every answer: Content Security Policy Level 3 and its companions."""
    sockets = " ".join(f"ws://{name}:{port}" for name in (HOST, "localhost"))
    policy = (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
        f"connect-src 'self' {sockets}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    plain = {
        "content-security-policy": policy,
        "cache-control": "no-store",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
    }
    return [(name.encode(), value.encode()) for name, value in plain.items()]


def not_here() -> Response:
    return Response("Nothing here.\n", 404, media_type="text/plain")
