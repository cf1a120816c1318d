"""Many phones at once on a handful of sockets: each sends its next request when the last one has been answered."""

from __future__ import annotations

import gc
import selectors
import socket
import statistics
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

Asking = Callable[[], bytes]
"""Makes a request when its turn has come, because some tell how much time has passed."""

PATIENCE_S = 120.0


@dataclass(frozen=True)
class Answered:
    """How a crowd was served. `seconds` from the first request to the last reply; `waits` in seconds, sorted."""

    seconds: float
    waits: Sequence[float]
    refused: int

    @property
    def per_second(self) -> float:
        """Requests answered in a second."""
        return len(self.waits) / self.seconds

    def within(self, share: float) -> float:
        """Seconds within which this share was answered."""
        return self.waits[min(len(self.waits) - 1, int(share * len(self.waits)))]

    @property
    def median(self) -> float:
        """Seconds within which half was answered."""
        return statistics.median(self.waits)


@dataclass
class _Phone:
    wire: socket.socket
    asking: Iterator[Asking]
    sent: float = 0.0
    came: bytearray = field(default_factory=bytearray)

    def ask(self) -> bool:
        """Send the next request; False when there is none."""
        make = next(self.asking, None)
        if make is None:
            return False
        self.came.clear()
        request = make()
        self.sent = time.perf_counter()
        self.wire.sendall(request)
        return True

    def whole(self) -> bool:
        """Take what has come; whether that is a whole reply. Raises OSError when the server hung up."""
        piece = self.wire.recv(65536)
        if not piece:
            raise OSError("the server hung up")
        self.came += piece
        end = self.came.find(b"\r\n\r\n")
        if end < 0:
            return False
        at = self.came.lower().find(b"content-length:", 0, end)
        length = int(self.came[at + 15 : self.came.find(b"\r", at)])
        return len(self.came) >= end + 4 + length


def answered(port: int, phones: Iterable[Iterable[Asking]]) -> Answered:
    """Serve a crowd until nobody has anything left to ask. A reply that is not 200 counts as refused."""
    crowd = [_Phone(socket.create_connection(("127.0.0.1", port), PATIENCE_S), iter(each)) for each in phones]
    waits: list[float] = []
    refused = left = 0
    gc.disable()  # a pause of the client would look like one of the server
    with selectors.DefaultSelector() as ready:
        began = time.perf_counter()
        for phone in crowd:
            phone.wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            ready.register(phone.wire, selectors.EVENT_READ, phone)
            left += phone.ask()
        while left:
            events = ready.select(PATIENCE_S)
            if not events:
                raise OSError("the server does not answer any more")
            for key, _ in events:
                phone = key.data
                if phone.whole():
                    waits.append(time.perf_counter() - phone.sent)
                    refused += not phone.came.startswith(b"HTTP/1.1 200")
                    left -= not phone.ask()
        seconds = time.perf_counter() - began
    gc.enable()
    for phone in crowd:
        phone.wire.close()
    return Answered(seconds, sorted(waits), refused)
