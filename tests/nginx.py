"""An nginx of its own for a test or a bench: on a free port, all its files in one folder, gone afterwards.

Where it is missing it is installed, if that can be done (root on Debian). It needs no setting up and starts nothing
by itself.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.ports import free_port

MISSING = "nginx is not installed: apt-get install nginx"
PLACES = ("/usr/sbin", "/usr/local/sbin")
TEMPORARY = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
PATIENCE_S = 10.0


def program() -> str | None:
    """Where nginx is; it is installed first where that can be done."""
    found = _installed()
    if found is None and os.geteuid() == 0 and shutil.which("apt-get"):
        with (Path(tempfile.gettempdir()) / "pennon-nginx.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # of several test processes one installs, the others wait
            found = _installed() or _install()
    return found


def _installed() -> str | None:
    return shutil.which("nginx", path=os.pathsep.join((os.environ.get("PATH", ""), *PLACES)))


def _install() -> str | None:
    # a run level in which services are not started: nobody asked for one on port 80
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive", "RUNLEVEL": "1"}
    for command in ("update", "install -y --no-install-recommends nginx"):
        subprocess.run(["apt-get", "-qq", *command.split()], env=quiet, check=False, capture_output=True, timeout=600)
    return _installed()


@contextmanager
def running(nginx: str, folder: Path, locations: str, core: int | None = None) -> Iterator[tuple[int, int]]:
    """One worker process that serves these `location` blocks; its port and process id. `core`: the only one it has."""
    port = free_port()
    config = folder / "nginx.conf"
    config.write_text(_config(folder, port, locations))
    pinned = [] if core is None else ["taskset", "-c", str(core)]
    with (folder / "nginx.log").open("wb") as log, subprocess.Popen(
        [*pinned, nginx, "-p", str(folder), "-c", str(config), "-e", str(folder / "error.log")], stderr=log
    ) as process:  # fmt: skip
        try:
            _await(port, process, folder)
            yield port, process.pid
        finally:
            process.terminate()
            process.wait(PATIENCE_S)


def _config(folder: Path, port: int, locations: str) -> str:
    temporary = "\n".join(f"{kind}_temp_path {folder / kind};" for kind in TEMPORARY)
    return f"""
daemon off;
master_process off;
pid {folder / "nginx.pid"};
events {{ worker_connections 64; }}
http {{
access_log off;
{temporary}
sendfile on;
keepalive_requests 1000000;
server {{
listen 127.0.0.1:{port};
{locations}
}}
}}
"""


def _await(port: int, process: subprocess.Popen[bytes], folder: Path) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while process.poll() is None and time.monotonic() < deadline:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise OSError(f"nginx did not start: {(folder / 'nginx.log').read_text(errors='replace')[-2000:]}")
