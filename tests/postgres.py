"""A private PostgreSQL for tests: made for one run, reached by a socket in its own folder, gone afterwards.

It does not wait for the disk (`fsync` is off), so these tests say nothing about what survives a power cut. Its text is
sorted as English is, because most servers are set up for a language and the league must not notice.

Where the programs are missing they are installed, if that can be done (root on Debian); else the tests are skipped
with the reason, and fail where `CI` is set.
"""

from __future__ import annotations

import fcntl
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NoReturn
from urllib.parse import quote

import pytest

from app.store.migrate import migrate

TEMPLATE = "migrated"
OWNER = "pennon"
DEBIAN = "usr/lib/postgresql"
MEMORY, ROOM = Path("/dev/shm"), 1 << 30
"""Linux's folder in memory; with a gigabyte free, databases are copied there in a sixth of the time."""
SETTINGS = (
    "fsync=off", "synchronous_commit=off", "full_page_writes=off", "autovacuum=off", "jit=off", "listen_addresses=",
    "shared_buffers=32MB",
)  # fmt: skip


@dataclass(frozen=True)
class Server:
    """A running server, whose socket lies in `folder`."""

    folder: Path

    def url(self, name: str) -> str:
        """The address of one of its databases, as people write it."""
        return f"postgresql://{OWNER}@/{name}?host={quote(str(self.folder))}"

    @contextmanager
    def league(self, name: str = "league", *, template: str = TEMPLATE) -> Iterator[str]:
        """The URL of a fresh database with every table and nothing in them, or a copy of another one."""
        self.order(f"CREATE DATABASE {name} TEMPLATE {template}")
        try:
            yield self.url(name)
        finally:
            self.order(f"DROP DATABASE {name} WITH (FORCE)")

    def order(self, statement: str) -> None:
        """Run a statement about databases."""
        with self.connection() as connection:
            connection.execute(statement)

    def connection(self, name: str = "postgres") -> Any:
        """A bare connection, each statement of which is committed at once."""
        import psycopg  # not everybody has the driver

        return psycopg.connect(host=str(self.folder), dbname=name, user=OWNER, autocommit=True)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """One server for all tests of this process, with a migrated database to copy."""
    if find_spec("psycopg") is None:
        _missing('the driver is not installed: pip install "psycopg[binary]"')
    with running(programs() or _missing("PostgreSQL is not installed")) as server:
        server.order(f"CREATE DATABASE {TEMPLATE}")
        migrate(server.url(TEMPLATE))
        yield server


def _missing(reason: str) -> NoReturn:
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


def programs() -> Path | None:
    """The folder of `initdb` and `postgres`; they are installed first where that can be done."""
    found = _installed()
    if found is None and os.geteuid() == 0 and shutil.which("apt-get"):
        with (Path(tempfile.gettempdir()) / "pennon-postgresql.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # of several test processes one installs, the others wait
            found = _installed() or _install()
    return found


def _installed() -> Path | None:
    versions = sorted(Path("/").glob(f"{DEBIAN}/*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    on_path = shutil.which("initdb")
    return versions[-1].parent if versions else Path(on_path).resolve().parent if on_path else None


def _install() -> Path | None:
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in ("update", "install -y --no-install-recommends postgresql"):
        subprocess.run(["apt-get", "-qq", *command.split()], env=quiet, check=False, capture_output=True, timeout=600)
    return _installed()


@contextmanager
def running(folder_of_programs: Path) -> Iterator[Server]:
    """A new server, stopped at the end; killed, should this process be killed."""
    place = MEMORY if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ROOM else None
    with tempfile.TemporaryDirectory(prefix="pennon-", dir=place, ignore_cleanup_errors=True) as name:
        folder, data = Path(name), Path(name, "data")
        as_user = _as_user(folder)
        create = ["initdb", "-D", str(data), "-U", OWNER, "--auth=trust", "--no-sync", "--encoding=UTF8"]
        create += ["--locale=C.UTF-8", "--locale-provider=icu", "--icu-locale=en"]
        make = [*as_user, str(folder_of_programs / create[0]), *create[1:]]
        subprocess.run(make, check=True, capture_output=True, cwd=folder)
        settings = [word for setting in SETTINGS for word in ("-c", setting)]
        serve = [*as_user, str(folder_of_programs / "postgres"), "-D", str(data), "-k", str(folder), *settings]
        with (folder / "log").open("wb") as log, subprocess.Popen(serve, stderr=log, cwd=folder) as process:
            server = Server(folder)
            try:
                _await(server, process)
                yield server
            finally:
                process.send_signal(signal.SIGINT)  # ends what is connected, and then itself
                process.wait(30)


def _as_user(folder: Path) -> list[str]:
    """How to start a program that dies with this process; as somebody else, because the server refuses root."""
    dying = ["setpriv", "--pdeathsig", "QUIT"] if shutil.which("setpriv") else []
    if os.geteuid() != 0:
        return dying
    user = next(each for each in pwd.getpwall() if each.pw_name in ("postgres", "nobody") and each.pw_uid != 0)
    os.chown(folder, user.pw_uid, user.pw_gid)
    return [*(dying or ["setpriv"]), "--reuid", user.pw_name, "--regid", str(user.pw_gid), "--clear-groups"]


def _await(server: Server, process: subprocess.Popen[bytes]) -> None:
    import psycopg

    deadline = time.monotonic() + 30
    while process.poll() is None and time.monotonic() < deadline:
        try:
            server.connection().close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return
    pytest.fail(f"PostgreSQL did not start: {(server.folder / 'log').read_text(errors='replace')[-2000:]}")
