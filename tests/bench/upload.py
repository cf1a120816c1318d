"""What an upload costs: bytes written to the disk for each byte that comes in, memory, speed beside a plain copy."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.fault.killed import Killable, killable

SIZE = 300_000_000
PIECE = 16 << 20
"""As large as those that the page sends."""


def benches() -> Iterator[dict[str, Any]]:
    """`{"bench": name, "value": number, "detail": ...}` for each."""
    disk = Path.cwd() if _is_memory("/tmp") else None
    with TemporaryDirectory(prefix="pennon-bench-", dir=disk) as folder, killable(Path(folder)) as server:
        server.start()
        yield from _sent(server)


def _is_memory(folder: str) -> bool:
    """Whether a folder lies in memory, where nothing is ever written to a disk."""
    lines = [line.split() for line in Path("/proc/mounts").read_text().splitlines()]
    return any(place == folder and kind == "tmpfs" for _, place, kind, *_ in lines)


def _sent(server: Killable) -> Iterator[dict[str, Any]]:
    data = random.Random(1).randbytes(PIECE)
    place = server.sender.place(SIZE)
    before, memory, began = server.proc("io", "write_bytes"), server.proc("status", "VmRSS"), time.perf_counter()
    at = 0
    while at < SIZE:
        at = server.sender.send(place, at, data[: min(PIECE, SIZE - at)]).offset
    took = time.perf_counter() - began
    written = server.proc("io", "write_bytes") - before
    grown = server.proc("status", "VmHWM") - memory
    copied = _copied(server.data / "plain", data)
    yield {
        "bench": "upload_bytes_written",
        "value": round(written / SIZE, 4),
        "detail": {"bytes": SIZE, "piece": PIECE, "written": written},
    }
    yield {"bench": "upload_memory_growth_mb", "value": round(grown / 1024, 1), "detail": {"bytes": SIZE}}
    yield {
        "bench": "upload_against_copy",
        "value": round(copied / took, 3),
        "detail": {"seconds": round(took, 2), "copy_seconds": round(copied, 2), "of": "speed of writing and flushing"},
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
