"""The page's look: one style sheet, put into the head; light and dark follow the system until a person chooses."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from nicegui import ui


@cache
def sheet() -> str:
    """The style sheet's text."""
    return Path(__file__).with_name("style.css").read_text("utf-8")


def head() -> None:
    """Put the style into this tab's page."""
    ui.add_head_html(f"<style>{sheet()}</style>")
    ui.query("body").classes("bt-body")
