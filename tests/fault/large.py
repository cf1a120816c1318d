"""A large file comes in while its server is killed twice."""

from __future__ import annotations

import hashlib
import random
import time
from dataclasses import dataclass
from pathlib import Path

from tests.fault.killed import Killable, killable

PIECE = 4 << 20
MOST_GROWTH_KB = 32 * 1024


@dataclass(frozen=True)
class Sent:
    """What came of it. `same`: the bytes are; `lost`: bytes that were acknowledged and gone after a kill;
    `growth_kb`: by how much the largest of the three servers grew from its start on.
    """

    size: int
    same: bool
    lost: int
    growth_kb: int

    @property
    def is_good(self) -> bool:
        """Whether the file is the same, and memory does not grow with it."""
        return self.same and self.lost == 0 and self.growth_kb <= MOST_GROWTH_KB


def killed_twice(folder: Path, size: int) -> Sent:
    """Send so many bytes, the server killed after a third and after two thirds of them."""
    chance = random.Random(5)
    data = b"".join(chance.randbytes(min(PIECE, size - at)) for at in range(0, size, PIECE))
    lost, growth = 0, []
    with killable(folder) as server:
        server.start()
        began = server.proc("status", "VmRSS")
        place = server.sender.place(size)
        for share in (1 / 3, 2 / 3):
            at, peak = killed_on_the_way(server, place, data, int(size * share))
            growth.append(peak - began)
            server.start()
            began = server.proc("status", "VmRSS")
            lost += max(0, at - server.sender.stands(place).offset)
        at = server.sender.stands(place).offset
        whole = server.sender.send(place, at, data[at:]).offset == size
        growth.append(server.proc("status", "VmHWM") - began)
        same = whole and hashlib.sha256(received(server, place)).digest() == hashlib.sha256(data).digest()
        return Sent(size, same, lost, max(growth))


def killed_on_the_way(server: Killable, place: str, data: bytes, until: int) -> tuple[int, int]:
    """Send in pieces, and kill the server in the middle of one that goes beyond `until`.

    What it had acknowledged, and the most memory that it took, in KiB.
    """
    at = server.sender.stands(place).offset
    while at + PIECE < until:
        at = server.sender.send(place, at, data[at : at + PIECE]).offset
    with server.sender.half_sent(place, at, len(data) - at, data[at : at + PIECE]):
        end = time.monotonic() + 30
        while written(server, place) < at + PIECE // 2:
            assert time.monotonic() < end, "nothing is written"
            time.sleep(0.005)
        peak = server.proc("status", "VmHWM")
        server.kill()
    return at, peak


def received(server: Killable, place: str) -> bytes:
    """A file that has come in whole."""
    return (server.data / "spool" / place.rsplit("/", 1)[1]).read_bytes()


def written(server: Killable, place: str) -> int:
    """Bytes of a file that have gone to the disk, acknowledged or not."""
    return (server.data / "incoming" / place.rsplit("/", 1)[1]).stat().st_size
