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
from contextlib import closing
from pathlib import Path
from urllib.request import urlopen

import pytest

from app import demo
from app.actions.job import Work
from app.adapters.files import Library
from app.demo import FIRST
from app.settings import Settings
from app.store.editions import list_editions
from app.store.engine import Database
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


def killed(running: subprocess.Popen[str]) -> None:
    """As a power cut would: the program and whatever it started."""
    os.killpg(running.pid, signal.SIGKILL)
    running.communicate()


def ready(running: subprocess.Popen[str]) -> list[str]:
    """The lines it prints once it is up: the address and a link for each role."""
    assert running.stdout is not None
    said = [running.stdout.readline() for _ in range(6)]
    assert said[0].startswith("Pennon is ready at http://127.0.0.1:"), (said, running.stderr and running.stderr.read())
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


def test_what_is_published_but_not_cut_yet_is_not_published_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed_here(_work: Work) -> None:
        raise KeyboardInterrupt

    settings = Settings.from_env({"PENNON_DATA": str(tmp_path)})
    monkeypatch.setattr(demo, "prepare_recording", lambda _work: None)
    monkeypatch.setattr(demo, "make_tape", killed_here)
    with pytest.raises(KeyboardInterrupt):
        demo.first_light(settings)
    made: list[dict[str, object]] = []
    monkeypatch.setattr(demo, "make_tape", lambda work: made.append(dict(work.args)))
    demo.first_light(settings)
    assert made == [{"lesson": FIRST, "edition": 1}]
    with closing(Database(settings.database_url)) as database:
        demo.other_sport(database, Library(settings.data))
        demo.publish_later(database)
        demo.publish_later(database)
        with database.read() as session:
            editions = sorted((each.lesson.id, each.number) for each in list_editions(session))
    assert editions == sorted((lesson, 1) for lesson in (FIRST, *demo.LATER))


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
