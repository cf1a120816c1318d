"""Delivery: ranges of a tape by our own server against nginx with sendfile, one core each, the readers on the other."""

from __future__ import annotations

import hashlib
import os
import random
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.requests import Request

from app.adapters.files import Library
from app.domain.people import Role
from app.web.auth import PLAIN_COOKIE, digest
from app.web.media import media_address
from app.web.viewer import Viewer
from tests import nginx
from tests.bench.measured import Measured
from tests.ports import free_port
from tests.web.league import league

SIZE = 64 << 20
SMALLEST, LARGEST = 64 << 10, 1 << 20
READERS = 4
"""Connections at a time, so that a server never waits for its readers."""
ROUND_S = 3.0
PROVED = 24
SERVER_CORE, READER_CORE = 0, 1
PATIENCE_S = 30.0
WHO = "official"


@dataclass(frozen=True)
class Place:
    """Where a server gives the tape out. `lines`: of the request, all but the range; `process`: id of the server."""

    port: int
    lines: str
    process: int

    def ask(self, wire: socket.socket, first: int, length: int) -> tuple[bytes, int]:
        """Ask for a range; what came with the headers of the answer, and how many of its bytes are still to come."""
        wire.sendall(f"{self.lines}Range: bytes={first}-{first + length - 1}\r\n\r\n".encode())
        head = wire.recv(4096)
        while b"\r\n\r\n" not in head:
            more = wire.recv(4096)
            if not more:
                raise OSError(f"a server hung up after {head!r}")
            head += more
        headers, _, body = head.partition(b"\r\n\r\n")
        if not headers.startswith(b"HTTP/1.1 206 "):
            raise OSError(f"a server answered {headers!r}")
        return body, length - len(body)


@dataclass(frozen=True)
class Round:
    """What a server gave out in one go: bytes a second, and seconds of its processor for each gigabyte."""

    speed: float
    cpu: float


def range_requests(runs: int) -> Measured:
    """Bytes a second, ours through nginx's. Raises OSError where there is no nginx or no second core."""
    program = nginx.program()
    if program is None:
        raise OSError(nginx.MISSING)
    if len(os.sched_getaffinity(0)) < 2:
        raise OSError("server and reader need a core each, and there is only one")
    with TemporaryDirectory(prefix="pennon-bench-") as name:
        data = Path(name)
        tape = random.Random(1).randbytes(SIZE)
        with _pinned(READER_CORE), _ours(data, tape) as ours, _theirs(program, data) as theirs:
            _prove(tape, ours, theirs)
            pairs = [(_read(ours, run), _read(theirs, run)) for run in range(-1, runs)][1:]
    return _measured(pairs, runs)


def _measured(pairs: Sequence[tuple[Round, Round]], runs: int) -> Measured:
    ours, theirs = ([pair[side] for pair in pairs] for side in (0, 1))
    speeds = [statistics.median(each.speed for each in side) for side in (ours, theirs)]
    cpus = [statistics.median(each.cpu for each in side) for side in (ours, theirs)]
    detail = {
        "ours_mb_s": round(speeds[0] / 1e6),
        "rival_mb_s": round(speeds[1] / 1e6),
        "ours_cpu_s_per_gb": round(cpus[0], 3),
        "rival_cpu_s_per_gb": round(cpus[1], 3),
        "by_cpu": round(cpus[1] / cpus[0], 3),
        "ours_busy": round(speeds[0] * cpus[0] / 1e9, 2),
        "rival_busy": round(speeds[1] * cpus[1] / 1e9, 2),
        "readers": READERS,
    }
    return Measured(speeds[0] / speeds[1], runs, detail)


@contextmanager
def _pinned(core: int) -> Iterator[None]:
    """Meanwhile this process, and what it starts without another word, has this core alone."""
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {core})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


@contextmanager
def _ours(data: Path, tape: bytes) -> Iterator[Place]:
    """`pennon serve` on a league whose one official has an address of the tape."""
    name = hashlib.sha256(tape).hexdigest()
    with league(data) as made:
        made.browser(WHO)
        device = digest(f"{WHO}-test")
        viewer = Viewer("sil", "", Role.OFFICIAL, device=device)
        asks = Request({"type": "http", "app": made.app, "state": {"viewer": viewer}, "headers": []})
        address = media_address(asks, "tape", name)
    path = Library(data).tape(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(tape)
    (data / "plain").mkdir()
    os.link(path, data / "plain" / "tape.mp4")
    port = free_port()
    settings = {"PENNON_DATA": str(data), "PENNON_PORT": str(port), "PENNON_WORKER": "no"}
    command = ["taskset", "-c", str(SERVER_CORE), sys.executable, "-m", "app.cli", "serve"]
    with subprocess.Popen(command, env=os.environ | settings, stdout=subprocess.DEVNULL) as process:
        try:
            _await(port, process)
            yield Place(port, _lines(address, f"Cookie: {PLAIN_COOKIE}={WHO}-test\r\n"), process.pid)
        finally:
            process.terminate()
            process.wait(PATIENCE_S)


def _lines(path: str, more: str = "") -> str:
    return f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: */*\r\n{more}"


def _await(port: int, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + PATIENCE_S
    while process.poll() is None and time.monotonic() < end:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise OSError("the server does not start")


@contextmanager
def _theirs(program: str, data: Path) -> Iterator[Place]:
    """nginx at its best: sendfile, open files kept, nothing written down."""
    folder = data / "nginx"
    folder.mkdir()
    locations = f"open_file_cache max=16;\nlocation / {{ root {data / 'plain'}; types {{ video/mp4 mp4; }} }}"
    with nginx.running(program, folder, locations, SERVER_CORE) as (port, process):
        yield Place(port, _lines("/tape.mp4"), process)


def _asked(seed: int) -> Iterator[tuple[int, int]]:
    """First byte and length of one range after another."""
    chance = random.Random(seed)
    while True:
        length = chance.randint(SMALLEST, LARGEST)
        yield chance.randrange(SIZE - length), length


def _prove(tape: bytes, *places: Place) -> None:
    """Both give out exactly the bytes of the tape. Raises AssertionError: a time without it would mean nothing."""
    for place in places:
        with socket.create_connection(("127.0.0.1", place.port), PATIENCE_S) as wire:
            for _, (first, length) in zip(range(PROVED), _asked(0), strict=False):
                body, rest = place.ask(wire, first, length)
                while rest:
                    more = wire.recv(rest)
                    assert more, "a server hung up"
                    body, rest = body + more, rest - len(more)
                assert body == tape[first : first + length], "other bytes than those of the tape"


def _read(place: Place, seed: int) -> Round:
    """All readers at once for some seconds."""
    until = time.monotonic() + ROUND_S
    came: list[int] = []
    readers = [
        threading.Thread(target=lambda n=n: came.append(_taken(place, seed * READERS + n, until)))
        for n in range(READERS)
    ]
    before, began = _cpu(place.process), time.monotonic()
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    took = time.monotonic() - began
    assert len(came) == READERS, "a reader broke off"
    return Round(sum(came) / took, (_cpu(place.process) - before) / (sum(came) / 1e9))


def _taken(place: Place, seed: int, until: float) -> int:
    """Bytes that one reader gets. They are counted and dropped where they lie, or nginx would wait for its readers."""
    taken, room = 0, bytearray(LARGEST)
    with socket.create_connection(("127.0.0.1", place.port), PATIENCE_S) as wire:
        for first, length in _asked(seed):
            _, rest = place.ask(wire, first, length)
            while rest:
                came = wire.recv_into(room, rest, socket.MSG_TRUNC | socket.MSG_WAITALL)
                if not came:
                    raise OSError("a server hung up")
                rest -= came
            taken += length
            if time.monotonic() >= until:
                return taken
    raise AssertionError


def _cpu(process: int) -> float:
    """Seconds of the processor that a process has used."""
    numbers = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


Bench = Callable[[int], Measured]


def benches() -> list[tuple[str, Bench, int]]:
    """Name in the list of benches, what measures it, how often."""
    return [("range_requests", range_requests, 5)]
