"""The gate and the parts of the page that need no browser: tokens, hosts, origins, bounds, words, glTF."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mesh_tools.errors import BadValueError
from viewer.page.blobs import Blobs
from viewer.page.gate import Gate
from viewer.page.house import House
from viewer.page.secrets_kept import Keyring
from viewer.page.words import say
from viewer.page.words_en import WORDS
from viewer.scene import Scene
from viewer.scene_gltf import TO_GLTF_AXES, scene_glb

HOST = "127.0.0.1:8000"


def called(gate: Gate, *, path: str = "/", query: str = "", method: str = "GET", kind: str = "http",
           body: list[bytes] | None = None, **headers: str) -> tuple[int, dict[str, str], bytes]:  # fmt: skip
    """Status, headers and body that the gate answers; for a websocket the close code or 101."""
    sent: list[dict[str, Any]] = []
    pieces = list(body or [b""])
    raw = [(k.replace("_", "-").encode(), v.encode()) for k, v in {"host": HOST, **headers}.items()]
    scope = {"type": kind, "path": path, "query_string": query.encode(), "method": method, "headers": raw}

    async def receive() -> dict[str, Any]:
        if kind == "websocket":
            return {"type": "websocket.connect"}
        return {"type": "http.request", "body": pieces.pop(0) if pieces else b"", "more_body": bool(pieces)}

    async def send(message: Any) -> None:
        sent.append(dict(message))

    asyncio.run(gate(scope, receive, send))
    if kind == "websocket":
        return (101 if sent[0]["type"] == "websocket.accept" else sent[0]["code"]), {}, b""
    answer = {k.decode().lower(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], answer, b"".join(m.get("body", b"") for m in sent[1:])


async def inner(scope: Any, receive: Any, send: Any) -> None:
    """An application that answers everything and reads the whole body."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    more = True
    while more:
        more = (await receive())["more_body"]
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/html")]})
    await send({"type": "http.response.body", "body": b"<p>in</p><script>1</script>"})


@pytest.fixture
def keys() -> Keyring:
    return Keyring()


@pytest.fixture
def gate(keys: Keyring) -> Gate:
    return Gate(inner, keys=keys, hosts=frozenset({HOST}), port=8000, most_bytes=100)


def cookie(keys: Keyring) -> str:
    return f"bowtrue_8000={keys.exchanged(keys.token)}"


def test_a_token_opens_one_session_and_is_then_dead(gate: Gate, keys: Keyring) -> None:
    token = keys.token
    status, headers, _ = called(gate, query=f"token={token}")
    assert status == 303
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=Strict" in headers["set-cookie"]
    assert called(gate, query=f"token={token}")[0] == 403
    assert called(gate, cookie=headers["set-cookie"].split(";")[0])[0] == 200


@pytest.mark.parametrize(
    "query", ["", "token=", "token=wrong", "token=%00", "token=" + "a" * 5000, "token=é"]
)
def test_nothing_is_served_without_the_right_token(gate: Gate, query: str) -> None:
    for path in ("/", "/blob/x", "/papers/plan.json", "/_nicegui/any"):
        assert called(gate, path=path, query=query)[0] == 403
    assert called(gate, kind="websocket", origin=f"http://{HOST}")[0] == 1008


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "elsewhere.example"}, {"host": "elsewhere.example:8000"}, {"host": "127.0.0.1:9999"}, {"host": ""},
        {"origin": "http://elsewhere.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:9999"},
        {"sec_fetch_site": "cross-site"}, {"sec_fetch_site": "same-site"},
    ],
)  # fmt: skip
def test_foreign_hosts_and_origins_are_refused_with_a_good_session(
    gate: Gate, keys: Keyring, headers: dict[str, str]
) -> None:
    known = cookie(keys)
    assert called(gate, cookie=known, **headers)[0] == 403
    assert called(gate, kind="websocket", cookie=known, **{"origin": f"http://{HOST}", **headers})[0] == 1008


def test_a_websocket_needs_origin_and_session(gate: Gate, keys: Keyring) -> None:
    known = cookie(keys)
    assert called(gate, kind="websocket", cookie=known, origin=f"http://{HOST}")[0] == 101
    assert called(gate, kind="websocket", cookie=known)[0] == 1008
    assert called(gate, kind="websocket", cookie="bowtrue_8000=x", origin=f"http://{HOST}")[0] == 1008


def test_a_post_without_origin_is_refused(gate: Gate, keys: Keyring) -> None:
    known = cookie(keys)
    assert called(gate, method="POST", cookie=known)[0] == 403
    assert called(gate, method="POST", cookie=known, origin=f"http://{HOST}")[0] == 200


def test_bodies_are_bounded_by_what_is_said_and_by_what_comes(gate: Gate, keys: Keyring) -> None:
    good = {"cookie": cookie(keys), "origin": f"http://{HOST}", "method": "POST"}
    assert called(gate, **good, content_length="101")[0] == 413
    assert called(gate, **good, content_length="-5")[0] == 413
    assert called(gate, **good, content_length="10", body=[b"x" * 60, b"x" * 60])[0] == 413
    assert called(gate, **good, content_length="100", body=[b"x" * 50, b"x" * 50])[0] == 200


def test_pages_carry_the_policy_and_a_new_nonce_each_time(gate: Gate, keys: Keyring) -> None:
    known = cookie(keys)
    _, first, body = called(gate, cookie=known)
    _, second, _ = called(gate, cookie=known)
    nonce = re.findall(r"'nonce-([^']+)'", first["content-security-policy"])[0]
    assert f'<script nonce="{nonce}">'.encode() in body
    assert nonce not in second["content-security-policy"]
    script = first["content-security-policy"].split("script-src")[1].split(";")[0]
    assert "'unsafe-inline'" not in script
    assert "default-src 'none'" in first["content-security-policy"]
    assert first["x-frame-options"] == "DENY"
    assert first["cache-control"] == "no-store"
    assert int(first["content-length"]) == len(body)


def test_sessions_are_few_and_the_oldest_goes() -> None:
    keys = Keyring(most_sessions=2)
    one, two, three = (keys.exchanged(keys.token) for _ in range(3))
    assert one is not None and two is not None and three is not None  # noqa: PT018
    assert [keys.knows(s) for s in (one, two, three)] == [False, True, True]


def test_blobs_forget_the_oldest_beyond_their_bound() -> None:
    blobs = Blobs(most_bytes=10)
    addresses = [blobs.put(b"x" * 6, "text/plain").removeprefix("/blob/") for _ in range(3)]
    assert [blobs.get(a) is None for a in addresses] == [True, True, False]


@pytest.mark.parametrize("name", ["", "..", "../x", "a/b", "a\\b", ".hidden", "/etc", "<script>", "a" * 300])
def test_a_new_case_cannot_leave_its_folder(tmp_path: Path, name: str) -> None:
    house = House(tmp_path / "root")
    house.root.mkdir()
    with pytest.raises(BadValueError):
        house.start(name)
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["root"]


def test_every_text_that_is_said_is_in_the_catalogue_and_every_text_is_said() -> None:
    viewer = Path(__file__).parents[2] / "viewer"
    files = [*viewer.glob("page/*.py"), viewer / "cli" / "page.py"]
    source = "\n".join(p.read_text("utf-8") for p in files if p.name != "words_en.py")
    said = set(re.findall(r"""say\(\s*["']([\w.]+)["']""", source)) | set(
        re.findall(r'WORDS\["(\w+)"\]', source)
    )
    assert said <= set(WORDS), said - set(WORDS)
    stems = set(re.findall(r'say\(\s*f"([\w.]+?)\{', source)) | {"landmark."}
    choices = set(re.findall(r'"(\w+)" if [^"]+ else "(\w+)"', source))
    loose = {w for pair in choices for w in pair}
    unsaid = {k for k in WORDS if k not in said | loose and not any(k.startswith(s) for s in stems)}
    assert unsaid == set()
    assert say("mm", mm="1.0") == "1.0 mm"


def test_the_scene_as_gltf_is_read_back_by_another_library(scene: Scene) -> None:
    """trimesh reads it: every mesh is there, in metres, y up, with the faces and places of the scene's own."""
    import io

    import trimesh

    glb = scene_glb(scene)
    assert glb[:4] == b"glTF"
    assert int.from_bytes(glb[8:12], "little") == len(glb)
    read: Any = trimesh.load(io.BytesIO(glb), file_type="glb")
    molar = next(s for s in scene.surfaces if s.role == "molar")
    found = read.geometry[molar.name]
    assert len(found.faces) == len(molar.faces)
    node = next(n for n in read.graph.nodes_geometry if read.graph[n][1] == molar.name)
    matrix = read.graph[node][0]
    placed = found.vertices @ matrix[:3, :3].T + matrix[:3, 3]
    wanted = 1e-3 * molar.points_mm[np.unique(molar.faces)] @ TO_GLTF_AXES.T
    np.testing.assert_allclose(placed.min(axis=0), wanted.min(axis=0), atol=1e-6)
    np.testing.assert_allclose(placed.max(axis=0), wanted.max(axis=0), atol=1e-6)


def test_gltf_nodes_say_what_a_page_switches(scene: Scene) -> None:
    import pygltflib

    document = pygltflib.GLTF2.load_from_bytes(scene_glb(scene))
    extras = [n.extras for n in document.nodes if n.extras]
    assert len(extras) == len(list(scene.items()))
    assert {e["group"] for e in extras} == set(scene.groups())
    assert all(m.primitives[0].mode == 4 for m in document.meshes)
    up = TO_GLTF_AXES @ np.array([0.0, 0.0, 1.0])
    assert up.tolist() == [0.0, 1.0, 0.0]
    assert np.linalg.det(TO_GLTF_AXES) == pytest.approx(1.0)
