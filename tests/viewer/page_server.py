"""The page as a subprocess on a free port, for tests in a browser and over plain HTTP; and a browser to drive it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import demo_meshes

ROOT = Path(__file__).parents[2]
PATIENCE_MS = int(os.environ.get("BOWTRUE_PATIENCE_MS", "60000"))
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--enable-unsafe-swiftshader",
]  # fmt: skip


def demo_case(folder: Path, *, samples: int = 0) -> Path:
    """The invented case copied into ``folder``, with few samples so that it is read quickly."""
    folder.mkdir(parents=True, exist_ok=True)
    source = Path(demo_meshes.__file__).parent
    for path in (*source.glob("*.stl"), source / "case.toml"):
        shutil.copyfile(path, folder / path.name)
    case = folder / "case.toml"
    case.write_text(case.read_text("utf-8") + f"\nsamples = {samples}\n", "utf-8")
    return case


class PageServer:
    """``bowtrue page`` at work; every line it prints is kept."""

    def __init__(self, where: Path, *options: str) -> None:
        command = [sys.executable, "-m", "viewer.cli", "page", str(where), "--no-browser", *options]
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
        here = where if where.is_dir() else where.parent
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=here, env=environment,
        )  # fmt: skip
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._wait_for_link()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip())

    def _wait_for_link(self) -> None:
        until = time.monotonic() + 60.0
        while not self.links:
            if self.process.poll() is not None or time.monotonic() > until:
                raise AssertionError("the page did not start:\n" + "\n".join(self.lines))
            time.sleep(0.05)

    @property
    def links(self) -> list[str]:
        """Every one-time address that was printed."""
        return re.findall(r"http://\S+token=\S+", "\n".join(self.lines))

    def fresh_link(self) -> str:
        """The address that has not been used yet."""
        time.sleep(0.1)
        return self.links[-1]

    @property
    def origin(self) -> str:
        """Scheme, host and port."""
        return self.links[0].split("/?")[0]

    def stop(self) -> None:
        """End the page and its reader."""
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self._reader.join(5)
        if self.process.stdout is not None:
            self.process.stdout.close()


class Opened:
    """A browser context with a page opened by a fresh address; every request and error is kept."""

    def __init__(self, browser: Any, server: PageServer, **options: Any) -> None:
        self.context = browser.new_context(viewport={"width": 1366, "height": 768}, **options)
        self.context.set_default_timeout(PATIENCE_MS)
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.page = self.tab()
        self.page.goto(server.fresh_link())

    def tab(self) -> Any:
        """Another tab of the same browser."""
        page = self.context.new_page()
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("websocket", lambda w: self.requests.append(w.url))
        page.on("pageerror", lambda e: self.errors.append(str(e)))
        return page

    def ready(self, page: Any | None = None) -> Any:
        """Wait until the scene shows the bow as it flexes."""
        tab = page or self.page
        tab.wait_for_selector(".bt-scene[data-layerlive]", timeout=PATIENCE_MS)
        tab.wait_for_selector('[data-state="flexed"]', timeout=PATIENCE_MS)
        return tab

    def close(self) -> None:
        """Close the context."""
        self.context.close()


_STILL = """() => { const f = document.querySelector('.bt-scene').dataset.frames, now = performance.now();
  if (!window.btStill || window.btStill[0] !== f) window.btStill = [f, now];
  return now - window.btStill[1] > 500; }"""
_HANDLE = """() => { const c = document.querySelector('circle.bt-handle.chosen'); if (!c) return null;
  const b = c.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; }"""


def still(page: Any) -> None:
    """Wait until the scene has not been drawn again for half a second."""
    page.wait_for_function(_STILL, timeout=PATIENCE_MS)


def chosen_at(page: Any) -> tuple[float, float]:
    """Where the chosen landmark's handle stands on the screen, once the scene is still."""
    still(page)
    x, y = page.wait_for_function(_HANDLE, timeout=PATIENCE_MS).json_value()
    return float(x), float(y)


def number(page: Any, name: str) -> str:
    """A cell of the numbers, such as "passes-right"."""
    return str(page.locator(f'[data-number="{name}"]').inner_text())


def step(page: Any, name: str) -> None:
    """Go to a step and wait until it is the one that is shown."""
    page.click(f'[data-step="{name}"]')
    page.wait_for_selector(f'[data-step="{name}"][aria-selected="true"]', timeout=PATIENCE_MS)


def slide(page: Any, label: str, keys: int) -> None:
    """Press PageUp or PageDown on a slider."""
    handle = page.get_by_role("slider", name=label)
    handle.focus()
    for _ in range(abs(keys)):
        handle.press("PageUp" if keys > 0 else "PageDown")


def shot(page: Any, name: str) -> None:
    """Keep a screenshot of this step, where the environment says so."""
    where = os.environ.get("BOWTRUE_SCREENSHOTS")
    if where:
        Path(where).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(Path(where) / f"{name}.png"))
