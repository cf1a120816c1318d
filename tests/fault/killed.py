"""A server in a process of its own that can be killed and started again on the same league and address.

A program takes seconds to load what it is made of, and these tests start a dozen. So one process loads it once, and
each server is a copy of that.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from app.web.auth import digest, form_token
from tests.ports import free_port
from tests.web.league import league
from tests.web.tus import Sender

PATIENCE_S = 60.0
TOKEN = "supervisor-test"

_copies = multiprocessing.get_context("forkserver")
_copies.set_forkserver_preload(["app.main", "app.cli", "uvicorn"])


def _serve(settings: dict[str, str]) -> None:
    """What `pennon serve` does, in a process that is a server and nothing else."""
    from app.cli import serve

    os.environ.update(settings)
    with Path(os.devnull).open("w") as nowhere, redirect_stdout(nowhere):
        serve()


class Killable:
    """The server of a league. `sender`: the supervisor's device."""

    def __init__(self, data: Path) -> None:
        self.data, self._port = data, free_port()
        self._process: ForkServerProcess | None = None
        with league(data) as made:
            made.browser("supervisor")
            self.sender = Sender(self._port, TOKEN, form_token(made.app.state.secret, digest(TOKEN)))

    def start(self, crash_at: str = "") -> None:
        """Start it, and wait until it answers; it ends itself at this point."""
        settings = {"PENNON_DATA": str(self.data), "PENNON_PORT": str(self._port), "PENNON_WORKER": "no"}
        self._process = _copies.Process(target=_serve, args=(settings | {"PENNON_CRASH_AT": crash_at},), daemon=True)
        self._process.start()
        end = time.monotonic() + PATIENCE_S
        while not self._answers():
            assert time.monotonic() < end, "the server does not start"
            time.sleep(0.02)

    def _answers(self) -> bool:
        try:
            with urlopen(f"http://127.0.0.1:{self._port}/healthz", timeout=5) as reply:
                return bool(reply.status == 200)
        except (URLError, OSError):
            return False

    @property
    def process(self) -> ForkServerProcess:
        """The process that runs now, or ran last."""
        assert self._process is not None, "it was never started"
        return self._process

    def kill(self) -> None:
        """End it as a power cut would, but for what the system's memory still writes."""
        self.process.kill()
        self.process.join()

    def proc(self, file: str, key: str) -> int:
        """A number from a file of /proc about the process, in the unit in which it stands there."""
        lines = Path(f"/proc/{self.process.pid}/{file}").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(f"{key}:"))


@contextmanager
def killable(data: Path) -> Iterator[Killable]:
    """The league above, its server not started yet."""
    made = Killable(data)
    try:
        yield made
    finally:
        if made._process is not None:
            made.kill()
