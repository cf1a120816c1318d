"""Everything that the environment decides, read once by the entry files. Every setting has a working default."""

from __future__ import annotations

import os
import re
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


class BadSetting(ValueError):
    """A setting that cannot be meant, in words."""


@dataclass(frozen=True)
class Settings:
    """What a Pennon is started with.

    data: folder of all that is kept (PENNON_DATA). house: size and rate of prepared pictures where no curriculum
    says so, as WIDTHxHEIGHT@RATE (PENNON_HOUSE). host, port: where the server listens (PENNON_HOST, PENNON_PORT).
    url: the address that people use, where a proxy stands in front (PENNON_URL); https in it makes cookies secure.
    database_url: PENNON_DATABASE_URL, by default a file in the data folder. worker: whether the web process does the
    long work too (PENNON_WORKER=no leaves it to `pennon worker`). sendfile: where an nginx in front finds the data
    folder, such as `/inside` (PENNON_SENDFILE); it sends the files then, and this server only says which. Empty: off.
    """

    data: Path
    house: str
    host: str
    port: int
    url: str
    database_url: str
    worker: bool
    sendfile: str = ""

    @classmethod
    def from_env(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Settings from the environment; what is not set has its default. Raises BadSetting."""
        home = Path(environment.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
        data = Path(environment.get("PENNON_DATA") or home / "pennon").absolute()
        host, port = environment.get("PENNON_HOST") or "127.0.0.1", _port(environment.get("PENNON_PORT") or "8430")
        return cls(
            data=data,
            house=environment.get("PENNON_HOUSE") or "1280x720@30",
            host=host,
            port=port,
            url=(environment.get("PENNON_URL") or f"http://{_reachable(host)}:{port}").rstrip("/"),
            database_url=environment.get("PENNON_DATABASE_URL") or f"sqlite:///{data / 'league.db'}",
            worker=(environment.get("PENNON_WORKER") or "yes").lower() not in ("no", "0", "false"),
            sendfile=_inside(environment.get("PENNON_SENDFILE", "")),
        )


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 65536):
        raise BadSetting(f'PENNON_PORT is "{text}"; it must be a number from 1 to 65535.')
    return int(text)


def _inside(text: str) -> str:
    if text and not re.fullmatch(r"(/[A-Za-z0-9_-]+)+/?", text):
        raise BadSetting(f'PENNON_SENDFILE is "{text}"; it must be a place in nginx, such as /inside.')
    return text.rstrip("/")


def _reachable(host: str) -> str:
    """A host as it stands in an address: of a server that listens everywhere, where this machine is in its network."""
    if host not in ("0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as towards:
        try:
            towards.connect(("192.0.2.1", 9))  # an address kept for documents; of a datagram nothing is sent
        except OSError:
            return "127.0.0.1"
        return str(towards.getsockname()[0])
