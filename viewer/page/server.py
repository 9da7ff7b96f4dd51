"""The page's server: the library's application behind the gate, on this machine only unless told otherwise."""

from __future__ import annotations

import json
import socket
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from casework.desk.uploads import MAX_BYTES
from mesh_tools.errors import BadValueError, BowtrueError
from viewer.page.gate import Gate
from viewer.page.house import House
from viewer.page.secrets_kept import Keyring
from viewer.page.words import language, say

if TYPE_CHECKING:
    from fastapi import FastAPI

LOOPBACK = ("127.0.0.1", "::1", "localhost")
_ENVELOPE_BYTES = 1_000_000
_RECONNECT_SECONDS = 30.0
_MOST_CONNECTIONS = 200
_TYPES = {
    ".html": "text/html; charset=utf-8", ".pdf": "application/pdf", ".png": "image/png", ".svg": "image/svg+xml",
    ".json": "application/json", ".csv": "text/csv; charset=utf-8",
}  # fmt: skip


@dataclass(frozen=True)
class Address:
    """Where the page listens; ``names`` are host names a browser may call it by besides the loopback's."""

    host: str
    port: int
    names: tuple[str, ...] = ()

    @property
    def hosts(self) -> frozenset[str]:
        """Every Host header that is ours, with the port."""
        own = (self.host, *self.names) if self.host not in ("0.0.0.0", "::") else self.names
        names = dict.fromkeys((*LOOPBACK, *own))
        return frozenset(f"[{n}]:{self.port}" if ":" in n else f"{n}:{self.port}" for n in names if n)

    def link(self, token: str) -> str:
        """The address that opens the page once."""
        name = next((n for n in self.names if n), self.host)
        shown = f"[{name}]" if ":" in name else name
        return f"http://{shown}:{self.port}/?token={token}"


def free_socket(host: str, port: int) -> socket.socket:
    """A listening socket on ``host``; port 0 takes a free one. Raises BadValueError in one line."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, port))
        found.listen(128)
    except (OSError, OverflowError) as err:
        found.close()
        raise BadValueError(f"cannot listen on {host} port {port} ({err}); give another --port.") from err
    return found


def serve(
    house: House, host: str, port: int, *, names: tuple[str, ...], show: bool, told: Callable[[str], None]
) -> None:
    """Serve the page until it is stopped; ``told`` gets the lines for the terminal."""
    import uvicorn

    listening = free_socket(host, port)
    address = Address(host, listening.getsockname()[1], names)

    def used(token: str) -> None:
        told(say("terminal_another", link=address.link(token)))

    keys = Keyring(on_used=used)
    gate = Gate(application(house), keys=keys, hosts=address.hosts, port=address.port,
                most_bytes=MAX_BYTES + _ENVELOPE_BYTES)  # fmt: skip
    config = uvicorn.Config(
        gate, log_level="warning", access_log=False, server_header=False, date_header=False, lifespan="on",
        limit_concurrency=_MOST_CONNECTIONS, timeout_keep_alive=15, ws_max_size=4_000_000, ws="websockets-sansio",
        timeout_graceful_shutdown=2, proxy_headers=False,
    )  # fmt: skip
    told(say("terminal_open", link=address.link(keys.token)))
    told(say("terminal_stop"))
    if show:
        webbrowser.open(address.link(keys.token))
    uvicorn.Server(config).run(sockets=[listening])


def application(house: House) -> FastAPI:
    """The page and its own few addresses, without the gate."""
    from fastapi import FastAPI
    from nicegui import app as library_app
    from nicegui import ui

    from viewer.page.start import build_page

    @ui.page("/", title="bowtrue", language=language_code(), dark=None, response_timeout=30.0)  # type: ignore[untyped-decorator]
    async def page() -> None:
        await build_page(house)

    own = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    _routes(own, house)
    ui.run_with(
        own, title="bowtrue", dark=None, gzip_middleware_factory=None, show_welcome_message=False, tailwind=False,
        reconnect_timeout=_RECONNECT_SECONDS, favicon=Path(__file__).with_name("mark.svg"),
    )  # fmt: skip
    library_app.config.socket_io_js_transports = ["websocket"]
    return own


def language_code() -> Any:
    """The page's language for the browser, as the library names it."""
    return "en-US" if language() == "en" else language()


def _routes(own: FastAPI, house: House) -> None:
    from starlette.responses import Response

    def gone() -> Response:
        return Response(say("gone"), status_code=404, media_type="text/plain")

    def blob(request: Any) -> Response:
        found = house.blobs.get(request.path_params["key"])
        if found is None:
            return gone()
        return Response(found.data, media_type=found.media_type, headers=_as_file(found.file_name))

    def papers(request: Any) -> Response:
        name = request.path_params["name"]
        data = paper_bytes(house, name)
        if data is None:
            return gone()
        kind = _TYPES.get(Path(name).suffix.lower(), "application/octet-stream")
        return Response(data, media_type=kind, headers=_as_file(name))

    async def upload(request: Any) -> Response:
        status, answer = await taken_in(house, request.query_params.get("name", ""), request)
        return Response(json.dumps(answer), status_code=status, media_type="application/json")

    own.add_route("/blob/{key}", blob, methods=["GET"])
    own.add_route("/papers/{name}", papers, methods=["GET"])
    own.add_route("/upload", upload, methods=["POST"])


def _as_file(name: str) -> dict[str, str]:
    from urllib.parse import quote

    return {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"} if name else {}


def paper_bytes(house: House, name: str) -> bytes | None:
    """A file of the open case's papers, or None; no other folder can be named."""
    from casework.desk.folder import inside
    from viewer.page.papers_made import PAPERS_FOLDER

    if house.room is None or "/" in name or name.startswith("."):
        return None
    try:
        path = inside(house.room.folder, f"{PAPERS_FOLDER}/{name}")
        return path.read_bytes() if path.is_file() else None
    except (BowtrueError, OSError):
        return None


async def taken_in(house: House, name: str, request: Any) -> tuple[int, dict[str, Any]]:
    """Take an upload into the open case's folder; status and answer for the browser."""
    import tempfile

    from nicegui import run

    from casework.desk.uploads import arrived
    from mesh_tools.look import as_dict

    room = house.room
    if room is None:
        return 409, {"text": say("no_case_open")}
    with tempfile.SpooledTemporaryFile(max_size=8_000_000) as body:
        async for piece in request.stream():
            body.write(piece)
        body.seek(0)
        try:
            came = await run.io_bound(arrived, room.folder, name, body)
        except BowtrueError as err:
            return 422, {"text": str(err)}
    return 200, {"name": came.name, "came_as": came.came_as, "size": came.size, "look": as_dict(came.look)}
