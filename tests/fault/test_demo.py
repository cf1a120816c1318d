"""The demo is begun, killed, begun again: it goes on where it was, and takes no folder or address that is another's."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

import pytest

from app.demo import FIRST
from tests.ports import free_port

WAIT_S = 120
KILLS = 3
SEED = 7


def begun(data: Path, port: int) -> subprocess.Popen[str]:
    environment = os.environ | {"PENNON_DATA": str(data), "PENNON_PORT": str(port)}
    command = [sys.executable, "-m", "app.cli", "demo"]
    return subprocess.Popen(
        command, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    )


def killed(demo: subprocess.Popen[str]) -> None:
    """As a power cut would: the program and whatever it started."""
    os.killpg(demo.pid, signal.SIGKILL)
    demo.communicate()


def ready(demo: subprocess.Popen[str]) -> list[str]:
    """The lines it prints once it is up: the address and a link for each role."""
    assert demo.stdout is not None
    said = [demo.stdout.readline() for _ in range(6)]
    assert said[0].startswith("Pennon is ready at http://127.0.0.1:"), (said, demo.stderr and demo.stderr.read())
    return said


def counted(data: Path) -> dict[str, int]:
    """How many there are of what is made before the server is up; the database is whole."""
    with sqlite3.connect(data / "league.db") as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        tables = ("person", "crew", "membership", "recording", "lesson", "game")
        found = {table: database.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}
        of_first = database.execute("SELECT count(*) FROM edition WHERE lesson_id = ?", (FIRST,))
        return {**found, "edition": of_first.fetchone()[0]}


@pytest.mark.media
def test_killed_again_and_again_the_demo_still_comes_up_once_and_whole(tmp_path: Path) -> None:
    data, chance = tmp_path / "demo", random.Random(SEED)
    for _ in range(KILLS):
        demo = begun(data, free_port())
        time.sleep(chance.uniform(0.3, 6))
        killed(demo)
    first = up_and_counted(data)
    assert first["edition"] == 1
    assert up_and_counted(data) == first


def up_and_counted(data: Path) -> dict[str, int]:
    """Begin the demo, let its supervisor in, stop it as the keyboard would."""
    port = free_port()
    demo = begun(data, port)
    try:
        said = ready(demo)
        with urlopen(f"http://127.0.0.1:{port}/healthz", timeout=WAIT_S) as reply:
            assert json.load(reply)["status"] == "ok"
        (link,) = re.findall(r"http\S+/invite/\S+", said[1])
        with urlopen(link, timeout=WAIT_S) as reply:
            assert "Welcome, Orla Tamsin." in reply.read().decode()
        found = counted(data)
        demo.send_signal(signal.SIGINT)
        _, complaints = demo.communicate(timeout=WAIT_S)
        assert "Traceback" not in complaints
    finally:
        if demo.poll() is None:
            killed(demo)
    assert list(data.rglob("*.part")) == []
    return found


def test_a_folder_with_something_else_in_it_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("dear league")
    demo = begun(tmp_path, free_port())
    _, complaint = demo.communicate(timeout=WAIT_S)
    assert demo.returncode == 1
    assert "holds something else; name a new folder in PENNON_DATA" in complaint
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_an_address_that_is_taken_is_told_before_anything_is_made(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        demo = begun(tmp_path / "demo", other.getsockname()[1])
        _, complaint = demo.communicate(timeout=WAIT_S)
    assert demo.returncode == 1
    assert "cannot be listened at" in complaint
    assert "PENNON_PORT" in complaint
    assert not (tmp_path / "demo").exists()
