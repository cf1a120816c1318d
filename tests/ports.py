"""A port for a server that a test starts as a process of its own."""

from __future__ import annotations

import socket


def free_port() -> int:
    """A port of this machine on which nothing listens just now."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])
