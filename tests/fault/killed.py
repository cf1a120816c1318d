"""Programs in processes of their own that can be killed and started again on the same league and address.

A program takes seconds to load what it is made of, and these tests start dozens. So one process loads it once, and
each server or worker is a copy of that.
"""

from __future__ import annotations

import http.client
import multiprocessing
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass, replace
from datetime import timedelta
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from app.web.auth import digest, form_token
from tests.ports import free_port
from tests.web.league import league
from tests.web.tus import Sender

PATIENCE_S = 60.0
BROKEN = (OSError, http.client.HTTPException)
"""How a connection ends whose server is gone."""
TOKEN = "supervisor-test"
LEASE, SWEEP_S = timedelta(seconds=1.5), 0.2
"""Of a worker that is in a hurry."""
PAUSES = (timedelta(seconds=0.2),) * 3
"""After which it tries again."""


@dataclass(frozen=True)
class Watch:
    """What becomes of a program: where the points are noted that it comes by, where it ends.

    Whoever dies is missed within seconds. With `patient`, what broke off is tried again when it usually is.
    """

    noted: Path | None = None
    die_at: str = ""
    patient: bool = False


_copies = multiprocessing.get_context("forkserver")
_copies.set_forkserver_preload(["app.main", "app.cli", "uvicorn", "tests.fault.points"])


def begun(program: str, settings: Mapping[str, str], watch: Watch | None = None) -> ForkServerProcess:
    """Start `pennon PROGRAM` (serve, worker)."""
    process = _copies.Process(target=_run, args=(program, dict(settings), watch), daemon=True)
    process.start()
    return process


def _run(program: str, settings: dict[str, str], watch: Watch | None) -> None:
    """What the command does, in a process that does nothing else."""
    from app import cli

    os.environ.update(settings)
    if watch is not None:
        from tests.fault.points import Points

        Points(watch.noted, watch.die_at).watch()
        _hurry(watch.patient)
    with Path(os.devnull).open("w") as nowhere, redirect_stdout(nowhere):
        {"serve": cli.serve, "worker": cli.worker}[program]()


def _hurry(patient: bool) -> None:
    """Miss a worker that died after a second or two, and try again soon; whatever else it does stays as it is."""
    from app import worker
    from app.store import jobs

    jobs.PAUSES = jobs.PAUSES if patient else PAUSES
    worker.Worker.__init__.__defaults__ = (worker.JOBS, LEASE, SWEEP_S)


class Killable:
    """The server of a league. `sender`: the supervisor's device. `known`: that of the league in the folder already."""

    def __init__(self, data: Path, known: Sender | None = None) -> None:
        self.data, self.port = data, free_port()
        self._process: ForkServerProcess | None = None
        if known is not None:
            self.sender = replace(known, port=self.port)
            return
        with league(data) as made:
            made.browser("supervisor")
            self.sender = Sender(self.port, TOKEN, form_token(made.app.state.secret, digest(TOKEN)))

    def start(self, crash_at: str = "") -> None:
        """Start it, and wait until it answers; it ends itself at this point."""
        self.begin({"PENNON_WORKER": "no", "PENNON_CRASH_AT": crash_at})
        assert self.is_up(), "the server does not start"

    def begin(self, settings: Mapping[str, str], watch: Watch | None = None) -> None:
        """Start it with these settings."""
        here = {"PENNON_DATA": str(self.data), "PENNON_PORT": str(self.port)}
        self._process = begun("serve", here | dict(settings), watch)

    def is_up(self) -> bool:
        """Wait until it answers; whether it does, or has ended before."""
        end = time.monotonic() + PATIENCE_S
        while not self._answers():
            if not self.process.is_alive():
                return False
            assert time.monotonic() < end, "the server does not start"
            time.sleep(0.02)
        return True

    def _answers(self) -> bool:
        try:
            with urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5) as reply:
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
