"""Slow answers for a hand that moves on: while one is being made only the newest question waits."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Generic, TypeVar

Q = TypeVar("Q")


class Latest(Generic[Q]):
    """Runs ``answer`` for one question at a time; a question asked meanwhile replaces the one that waits."""

    def __init__(self, answer: Callable[[Q], Awaitable[None]]) -> None:
        self._answer = answer
        self._waiting: list[Q] = []
        self._task: asyncio.Task[None] | None = None

    def ask(self, question: Q) -> None:
        """Answer ``question`` now, or next, unless a newer one comes first."""
        self._waiting = [question]
        if self._task is None or self._task.done():
            self._task = asyncio.get_running_loop().create_task(self._run())

    @property
    def busy(self) -> bool:
        """Whether an answer is being made."""
        return self._task is not None and not self._task.done()

    async def _run(self) -> None:
        while self._waiting:
            await self._answer(self._waiting.pop())
