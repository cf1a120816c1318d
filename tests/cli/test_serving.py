"""`pennon serve` and `pennon worker` as processes of their own: they begin, share the work, and stop when asked."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.request import urlopen

from app.actions.intake import Incoming, add_recordings
from app.actions.league import NEW, found_league
from app.domain.recording import Recording
from app.store.engine import Database
from app.store.migrate import migrate
from app.store.recordings import RecordingFacts, RecordingState, load_recording
from tests.ports import free_port

WAIT_S = 60


@contextmanager
def running(command: str, data: Path, **settings: str) -> Iterator[subprocess.Popen[bytes]]:
    environment = os.environ | {"PENNON_DATA": str(data), **settings}
    process = subprocess.Popen([sys.executable, "-m", "app.cli", command], env=environment, stdout=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def wait_for(what: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not what():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.05)


def stopped_by(process: subprocess.Popen[bytes], sign: signal.Signals) -> int:
    process.send_signal(sign)
    return process.wait(WAIT_S)


def answers(port: int) -> bool:
    try:
        with urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5) as reply:
            return bool(json.load(reply)["status"] == "ok")
    except OSError:
        return False


def test_the_server_answers_and_stops_when_it_is_asked_to(tmp_path: Path) -> None:
    port = free_port()
    with running("serve", tmp_path, PENNON_PORT=str(port)) as server:
        wait_for(lambda: answers(port))
        assert stopped_by(server, signal.SIGTERM) in (0, -signal.SIGTERM)
    assert (tmp_path / "league.db").exists()


def test_a_new_league_prints_one_link_that_lets_its_supervisor_in(tmp_path: Path) -> None:
    port = free_port()
    environment = os.environ | {"PENNON_DATA": str(tmp_path), "PENNON_PORT": str(port)}
    command = [sys.executable, "-m", "app.cli", "serve"]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as server:
        try:
            wait_for(lambda: answers(port))
            assert server.stdout is not None
            said = [server.stdout.readline(), server.stdout.readline()]
            (link,) = re.findall(rf"http://127.0.0.1:{port}/invite/\S+", said[1])
            with urlopen(link, timeout=5) as reply:
                assert "Choose a password" in reply.read().decode()
        finally:
            server.kill()


def test_a_worker_of_its_own_does_what_was_ordered_elsewhere(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'league.db'}"
    migrate(url)
    database = Database(url)
    now = datetime.now(UTC)
    database.change(found_league, NEW, is_demo=False, now=now)
    (tmp_path / "spool").mkdir()
    (tmp_path / "spool" / "r1").write_bytes(b"no picture at all\n" * 100)
    incoming = [Incoming(Recording(id="r1", file="notes.mp4", angle="High"), 1800)]
    database.change(add_recordings, incoming, None, "orla", now=now)
    with running("worker", tmp_path) as worker:
        wait_for(lambda: _recording(database).state is RecordingState.REFUSED)
        assert stopped_by(worker, signal.SIGINT) == 0
    assert _recording(database).reason == "This is text, not a recording."
    database.close()


def _recording(database: Database) -> RecordingFacts:
    with database.read() as session:
        return load_recording(session, "r1")
