"""A server that really runs, on a free port, and a wire to it that sends what no browser would."""

from __future__ import annotations

import http.client
import socket
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import uvicorn

from app.main import create_app, server_of
from app.web.auth import PLAIN_COOKIE, digest, form_token
from tests.web.league import League, settings_for

PATIENCE_S = 30.0
ALWAYS = {"accept": "text/html", "tus-resumable": "1.0.0"}
"""A page is asked for, by somebody who also speaks the protocol of uploads."""
FORM = "application/x-www-form-urlencoded"


@dataclass(frozen=True)
class Served:
    """A server that answers at `url`."""

    league: League
    url: str

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.url.rsplit(":", 1)[1])


@dataclass(frozen=True)
class Reply:
    """What came back. `headers`: names in small letters; of several with one name the last, cookies all of them."""

    status: int
    headers: Mapping[str, str]
    cookies: tuple[str, ...]
    body: bytes

    @property
    def text(self) -> str:
        """The body as text."""
        return self.body.decode("utf-8", "replace")


class Wire:
    """One connection that stays open. Paths go out as they are: nothing is made decent on the way."""

    def __init__(self, served: Served, token: str = "") -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=PATIENCE_S)
        self._cookie = {"cookie": f"{PLAIN_COOKIE}={token}"} if token else {}
        self.form_key = form_token(served.league.app.state.secret, digest(token)) if token else ""

    def ask(self, method: str, path: str, body: bytes | None = None, type: str = FORM, /, **headers: str) -> Reply:
        """Send one request. Words of a header's name are joined by `_`; a page is asked for unless `accept` differs."""
        named = {} if body is None else {"content-type": type}
        named |= {name.replace("_", "-"): value for name, value in headers.items()}
        self._connection.request(method, path, body, {**ALWAYS, **self._cookie, **named})
        came = self._connection.getresponse()
        pairs = [(name.lower(), value) for name, value in came.getheaders()]
        cookies = tuple(value for name, value in pairs if name == "set-cookie")
        return Reply(came.status, dict(pairs), cookies, came.read())

    def post(self, path: str, fields: Mapping[str, str] | None = None, **headers: str) -> Reply:
        """Post a form with the key of this device."""
        body = urlencode({"form_token": self.form_key, **(fields or {})}).encode()
        return self.ask("POST", path, body, **headers)

    def close(self) -> None:
        """Hang up."""
        self._connection.close()


@contextmanager
def serving(data: Path, *, worker: bool = False) -> Iterator[Served]:
    """The league in this folder on a free port; with `worker`, long work is done too."""
    app = create_app(settings_for(data, worker=worker))
    with socket.socket(proto=socket.IPPROTO_TCP) as listening:  # or answers wait 40 ms for each other
        listening.bind(("127.0.0.1", 0))
        server = server_of(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            _await_start(server)
            yield Served(League(app, data), f"http://127.0.0.1:{listening.getsockname()[1]}")
        finally:
            server.should_exit = True
            thread.join()


def _await_start(server: uvicorn.Server) -> None:
    end = time.monotonic() + PATIENCE_S
    while not server.started:
        assert time.monotonic() < end, "the server does not start"
        time.sleep(0.02)
