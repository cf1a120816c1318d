"""What a change is: an action with its arguments, run in one transaction, with effects that wait for the commit.

An action is called as `action(session, ..., now=...)` and never commits. An action marked `@hot` is called with a
bare connection instead and uses Core statements only, because many of them share one commit.
"""

from __future__ import annotations

import logging
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection
from sqlmodel import Session

__all__ = ["Action", "Connection", "Effect", "Unit", "after_commit", "crash_point", "effects_held", "hot", "perform"]

log = logging.getLogger("pennon.store")

WAITING = 2000
"""Changes that may wait for their turn; more are refused at once."""

FULL = "The server is busy; nothing was changed. Try again in a moment."

Effect = Callable[[], None]
_effects: ContextVar[list[Effect]] = ContextVar("effects")

Action = TypeVar("Action", bound=Callable[..., Any])


def hot(action: Action) -> Action:
    """Mark an action that takes a connection, lasts well under a millisecond, and may share its commit."""
    action.hot = True  # type: ignore[attr-defined]
    return action


@dataclass(frozen=True)
class Unit:
    """One action with its arguments."""

    action: Callable[..., Any]
    args: tuple[Any, ...]
    kwargs: dict[str, Any]

    @property
    def hot(self) -> bool:
        """Whether it may share a commit with others."""
        return getattr(self.action, "hot", False)

    def run(self, connection: Connection) -> Any:
        """Call the action within the transaction that is open on the connection."""
        if self.hot:
            return self.action(connection, *self.args, **self.kwargs)
        with Session(bind=connection, join_transaction_mode="rollback_only") as session:
            result = self.action(session, *self.args, **self.kwargs)
            session.flush()
            return result


def after_commit(effect: Effect) -> None:
    """Ask for something to be done once the change that is running has been committed: kick a job, tell a listener.

    Effects must be cheap and must not fail; what must not be forgotten is a row, not an effect.
    """
    _effects.get().append(effect)


@contextmanager
def effects_held() -> Iterator[list[Effect]]:
    """Collect the effects of the actions run inside; the write path performs them after COMMIT."""
    held: list[Effect] = []
    token = _effects.set(held)
    try:
        yield held
    finally:
        _effects.reset(token)


def perform(effects: Iterable[Effect]) -> None:
    """Do what waited for the commit. One that fails is noted: the change stands, and whoever asked is told so."""
    for effect in effects:
        try:
            effect()
        except Exception:
            log.exception("an effect after a commit failed")


def crash_point(name: str) -> None:
    """Die here by SIGKILL when PENNON_CRASH_AT names this point: how the fault tests visit each of them."""
    if os.environ.get("PENNON_CRASH_AT") == name:
        os.kill(os.getpid(), signal.SIGKILL)
