"""A sender that speaks tus 1.0 to a server on this machine, a request at a time, so that tests can break off."""

from __future__ import annotations

import base64
import http.client
import socket
from collections.abc import Mapping
from dataclasses import dataclass

from app.web.auth import PLAIN_COOKIE

PATIENCE_S = 30.0
BYTES = "application/offset+octet-stream"
SAID = {
    "filename": "high.mp4", "angle": "High", "see": "the crew",
    "new_game": "Eelport v Marram", "batch": "0123456789abcdef",
}  # fmt: skip
"""What tests say of a file, where they do not say otherwise."""


@dataclass(frozen=True)
class Answer:
    """What came back. `headers`: names in small letters."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def offset(self) -> int:
        """Bytes that the server says are there."""
        return int(self.headers["upload-offset"])


@dataclass(frozen=True)
class Sender:
    """A signed-in device; `key` is its form's key."""

    port: int
    token: str
    key: str

    def headers(self, **more: str) -> dict[str, str]:
        """What every request carries, and more: words of a name are joined by `_`; an empty value leaves it out."""
        named = {"cookie": f"{PLAIN_COOKIE}={self.token}", "x-form-token": self.key, "tus-resumable": "1.0.0"}
        named |= {"accept": "application/json"} | {name.replace("_", "-"): value for name, value in more.items()}
        return {name: value for name, value in named.items() if value}

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """One request on a connection of its own."""
        wire = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            wire.request(method, path, body, self.headers(**headers))
            came = wire.getresponse()
            return Answer(came.status, {name.lower(): value for name, value in came.getheaders()}, came.read())
        finally:
            wire.close()

    def announce(self, length: int, body: bytes | None = None, **said: str) -> Answer:
        """Announce a file; with `body`, its first bytes come along."""
        of_type = {} if body is None else {"content_type": BYTES}
        return self.ask("POST", "/uploads", body, upload_length=str(length), upload_metadata=told(said), **of_type)

    def place(self, length: int, **said: str) -> str:
        """Announce a file; where it goes."""
        answer = self.announce(length, None, **said)
        assert answer.status == 201, answer
        return answer.headers["location"]

    def stands(self, place: str) -> Answer:
        """Where a file stands."""
        return self.ask("HEAD", place)

    def send(self, place: str, offset: int, piece: bytes, **headers: str) -> Answer:
        """Send a piece that belongs at `offset`."""
        return self.ask("PATCH", place, piece, **{"upload_offset": str(offset), "content_type": BYTES, **headers})

    def half_sent(self, place: str, offset: int, length: int, piece: bytes) -> socket.socket:
        """A connection on which a piece of `length` bytes was begun, and no more than `piece` of it was sent."""
        return self.half_asked("PATCH", place, length, piece, upload_offset=str(offset), content_type=BYTES)

    def half_asked(self, method: str, path: str, length: int, piece: bytes, **headers: str) -> socket.socket:
        """A connection on which a request with a body of `length` bytes was begun; only `piece` of it was sent."""
        wire = socket.create_connection(("127.0.0.1", self.port), PATIENCE_S)
        named = self.headers(**headers, content_length=str(length), host="x")
        lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in named.items()), "", ""]
        wire.sendall("\r\n".join(lines).encode() + piece)
        return wire


def answer_on(wire: socket.socket) -> Answer:
    """What comes back on a connection. Raises TimeoutError when nothing does."""
    came = http.client.HTTPResponse(wire)
    came.begin()
    return Answer(came.status, {name.lower(): value for name, value in came.getheaders()}, came.read())


def told(said: Mapping[str, str]) -> str:
    """`Upload-Metadata` of what is said of a file, beside what tests always say."""
    pairs = {**SAID, **said}.items()
    return ",".join(f"{name} {base64.b64encode(text.encode()).decode()}" for name, text in pairs if text)
