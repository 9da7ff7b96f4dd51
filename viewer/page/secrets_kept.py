"""The one-time address and the sessions it opens: random, compared in constant time, kept in memory only."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from threading import Lock

_BYTES = 32


class Keyring:
    """Hands out one-time tokens and the session secrets that they are exchanged for.

    A token opens one session and is then dead. ``on_used`` is told a fresh token each time one is spent, so that the
    terminal can show an address for another browser.
    """

    def __init__(self, *, most_sessions: int = 32, on_used: Callable[[str], None] = lambda _: None) -> None:
        self._lock = Lock()
        self._token = secrets.token_urlsafe(_BYTES)
        self._sessions: list[str] = []
        self._most = most_sessions
        self._on_used = on_used

    @property
    def token(self) -> str:
        """The token that is good now."""
        return self._token

    def exchanged(self, token: str) -> str | None:
        """A new session secret for ``token``, or None when it is not the one that is good now."""
        with self._lock:
            if not hmac.compare_digest(token.encode("utf-8", "replace"), self._token.encode("ascii")):
                return None
            self._token = secrets.token_urlsafe(_BYTES)
            session = secrets.token_urlsafe(_BYTES)
            self._sessions = [*self._sessions[-(self._most - 1) :], session]
        self._on_used(self._token)
        return session

    def knows(self, session: str) -> bool:
        """Whether ``session`` was opened here; every stored secret is compared, so that time tells nothing."""
        given = session.encode("utf-8", "replace")
        with self._lock:
            found = [hmac.compare_digest(given, kept.encode("ascii")) for kept in self._sessions]
        return any(found)
