"""An answer that was acknowledged is on the disk, even when the server is killed in the middle of sixty of them."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from sqlalchemy import text

from app.store.engine import Database
from app.store.sittings import list_answers, list_looks
from tests.tree import ROOT

AFTER = 250
"""Answers of the 960 that are given."""


def test_no_acknowledged_answer_is_lost_when_the_server_is_killed(empty_file: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{shutil.copy(empty_file, tmp_path)}"
    acknowledged = killed(url, AFTER)
    assert len(acknowledged) >= AFTER
    database = Database(url)
    with database.read() as session:
        assert session.connection().execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
        stored = {(answer.sitting_id, answer.n) for answer in list_answers(session)}
        decided = {
            (sitting, look.n)
            for sitting in {sitting for sitting, _ in stored}
            for look in list_looks(session, sitting)
            if look.state == "decided"
        }
    database.close()
    assert acknowledged - stored == set()
    assert decided == stored  # an answer and the state of its look are one change
    assert len(stored) < 60 * 16  # it was killed in the middle, not after the last


def killed(url: str, after: int) -> set[tuple[str, int]]:
    """Answers that were acknowledged by a server that was killed after so many."""
    command = [sys.executable, "-m", "tests.store.busy_phones", url]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        lines = [server.stdout.readline() for _ in range(after)]
        server.kill()
        lines += server.stdout.readlines()
    said = [line.split() for line in lines if line.endswith("\n")]
    return {(sitting, int(n)) for sitting, n in said}
