"""The points at which a program may be ended: before each flush to the disk, around each rename, commit and start of
a child. No list of them is kept; they are found by noting which ones a run comes by.

A point is named by what is done there and by the functions that do it, the innermost first.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

from app.store import change

ROOT = str(Path(change.__file__).parents[1])
DEEP = 3
"""Functions of ours by which a point is named."""


class Points:
    """Notes each point in a file when it is first come by (`noted`), or ends the program at one (`die_at`)."""

    def __init__(self, noted: Path | None, die_at: str) -> None:
        self._noted, self._die_at = noted, die_at
        self._seen: set[str] = set()
        self._changing = threading.local()

    def visit(self, name: str) -> None:
        """The program has come to this point."""
        if name == self._die_at:
            os.kill(os.getpid(), signal.SIGKILL)
        if self._noted is not None and name not in self._seen:
            self._seen.add(name)
            with self._noted.open("a") as file:
                file.write(f"{name}\n")

    def watch(self) -> None:
        """From now on every point of this process is noted, or may be its last."""
        watch_commits(self)
        for name in ("replace", "rename", "link"):
            setattr(os, name, self._around(name, getattr(os, name)))
        setattr(os, "fsync", self._before("fsync", os.fsync))  # noqa: B010 - mypy takes a module's names for final
        subprocess.Popen.__init__ = self._around("spawn", subprocess.Popen.__init__)  # type: ignore[method-assign]

    def _before(self, what: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def watched(*args: Any, **kwargs: Any) -> Any:
            self.visit(f"{what}: {_by(sys._getframe(1))}")
            return real(*args, **kwargs)

        return watched

    def _around(self, what: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def watched(*args: Any, **kwargs: Any) -> Any:
            by = _by(sys._getframe(1))
            self.visit(f"before {what}: {by}")
            result = real(*args, **kwargs)
            self.visit(f"after {what}: {by}")
            return result

        return watched

    def run(self, unit: change.Unit, real: Callable[..., Any], *args: Any) -> Any:
        """Run a unit of the one write path, and keep in mind whose commit comes next."""
        action = unit.action
        while isinstance(action, partial):
            action = action.func
        self._changing.name = action.__name__
        return real(unit, *args)

    def commit(self, name: str) -> None:
        """A point that the program names itself, of a commit with the action that it keeps."""
        self.visit(f"{name} of {self._changing.name}" if name.endswith("commit") else name)


def watch_commits(points: Points) -> None:
    """Hear of the points that the program names, wherever their function was imported to."""
    named = change.crash_point
    for module in [module for name, module in sys.modules.items() if name.startswith("app.")]:
        if getattr(module, "crash_point", None) is named:
            setattr(module, "crash_point", points.commit)  # noqa: B010 - as above
    real = change.Unit.run
    setattr(change.Unit, "run", lambda unit, *args: points.run(unit, real, *args))  # noqa: B010


def _by(frame: FrameType | None) -> str:
    """The innermost functions of ours that are being run, or the file's name where there are none."""
    return " < ".join(list(_ours(frame))[:DEEP]) or "elsewhere"


def _ours(frame: FrameType | None) -> Iterator[str]:
    while frame is not None:
        code = frame.f_code
        if code.co_filename.startswith(ROOT):
            yield f"{Path(code.co_filename).stem}.{code.co_name}"
        frame = frame.f_back
