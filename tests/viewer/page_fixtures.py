"""Fixtures of the tests that drive the page in a browser: one browser, one page server and one case a module."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.viewer.page_server import CHROMIUM, FLAGS, Opened, PageServer, demo_case


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="needs playwright (the dev extra)")
    with sync_api.sync_playwright() as p:
        chrome = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chrome
        chrome.close()


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_case(tmp_path_factory.mktemp("case"))


@pytest.fixture(scope="module")
def server(case: Path) -> Iterator[PageServer]:
    one = PageServer(case)
    yield one
    one.stop()


@pytest.fixture
def opened(browser: Any, server: PageServer) -> Iterator[Opened]:
    one = Opened(browser, server)
    yield one
    one.close()
