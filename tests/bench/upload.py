"""What an upload costs: bytes written to the disk for each byte that comes in; memory and speed beside it."""

from __future__ import annotations

import os
import random
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench.measured import Measured
from tests.fault.killed import Killable, killable

SIZE = 300_000_000
PIECE = 16 << 20
"""As large as those that the page sends."""


def upload_bytes_written(runs: int) -> Measured:
    """Bytes written for each byte received, by the kernel's count of the server's process."""
    found = [_sent() for _ in range(runs)]
    detail = {name: round(statistics.median(each[name] for each in found), 3) for name in found[0]}
    return Measured(statistics.median(each["written"] for each in found), runs, {"bytes": SIZE, **detail})


def _sent() -> dict[str, float]:
    disk = Path.cwd() if _is_memory("/tmp") else None
    with TemporaryDirectory(prefix="pennon-bench-", dir=disk) as folder, killable(Path(folder)) as server:
        server.start()
        return _measured(server)


def _is_memory(folder: str) -> bool:
    """Whether a folder lies in memory, where nothing is ever written to a disk."""
    lines = [line.split() for line in Path("/proc/mounts").read_text().splitlines()]
    return any(place == folder and kind == "tmpfs" for _, place, kind, *_ in lines)


def _measured(server: Killable) -> dict[str, float]:
    data = random.Random(1).randbytes(PIECE)
    place = server.sender.place(SIZE)
    before, memory, began = server.proc("io", "write_bytes"), server.proc("status", "VmRSS"), time.perf_counter()
    at = 0
    while at < SIZE:
        at = server.sender.send(place, at, data[: min(PIECE, SIZE - at)]).offset
    took = time.perf_counter() - began
    written = server.proc("io", "write_bytes") - before
    return {
        "written": written / SIZE,
        "memory_growth_mb": (server.proc("status", "VmHWM") - memory) / 1024,
        "seconds": took,
        "seconds_of_a_plain_copy": _copied(server.data / "plain", data),
    }


def _copied(path: Path, data: bytes) -> float:
    """Seconds to write as much to the same disk, flushed as often."""
    began = time.perf_counter()
    with path.open("wb") as file:
        for at in range(0, SIZE, PIECE):
            file.write(data[: min(PIECE, SIZE - at)])
            file.flush()
            os.fsync(file.fileno())
    return time.perf_counter() - began


Bench = Callable[[int], Measured]


def benches() -> list[tuple[str, Bench, int]]:
    """Name in the list of benches, what measures it, how often."""
    return [("upload_bytes_written", upload_bytes_written, 1)]
