"""Says things to the person: every text of the page comes from one catalogue, so that a translation is one file."""

from __future__ import annotations

import importlib
from functools import cache

from viewer.page.words_en import WORDS as ENGLISH

_LANGUAGE = ["en"]


def speak(language: str) -> None:
    """Use the catalogue ``words_<language>.py``; texts it lacks stay English. Raises ImportError when there is none."""
    _catalogue(language)
    _LANGUAGE[0] = language


def language() -> str:
    """The language spoken now."""
    return _LANGUAGE[0]


def say(key: str, **values: object) -> str:
    """The text of ``key`` with ``values`` in its places; raises KeyError for a key no catalogue has."""
    text = _catalogue(_LANGUAGE[0]).get(key) or ENGLISH[key]
    return text.format(**values) if values else text


@cache
def _catalogue(name: str) -> dict[str, str]:
    found: dict[str, str] = importlib.import_module(f"viewer.page.words_{name}").WORDS
    return found
