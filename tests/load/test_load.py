"""A few phones at once, the server killed in the middle; `make load` does the same with three hundred."""

from __future__ import annotations

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from tests.load.clinic import LOOKS, Clinic, held, opened
from tests.load.phones import Tally
from tests.load.run import Loaded, crowded, judged, killed

CLIENTS, KILLS, SEED = 30, 2, 3
FEW = 3


def test_a_crowd_goes_on_after_its_server_was_killed_and_nothing_is_lost_or_there_twice() -> None:
    found = killed(KILLS, CLIENTS, seed=SEED)
    assert found.is_good, found
    assert found.runs == KILLS
    assert found.acknowledged >= KILLS * CLIENTS * LOOKS
    assert found.resent > 0, "nobody noticed the kill"


# ------------------------------------------------------------------------------------------- the counting itself


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Clinic, Tally]:
    """A small crowd that has come to its end, and what it was told."""
    clinic = opened(tmp_path_factory.mktemp("clinic"), FEW)
    tally, _ = crowded(clinic, clinic.data, random.Random(SEED))
    return clinic, tally


def judged_after(taken: tuple[Clinic, Tally], folder: Path, change: str) -> Loaded:
    """How the crowd is judged when somebody has changed the database since."""
    clinic, tally = taken
    shutil.copytree(clinic.data, folder / "changed")
    database = sqlite3.connect(folder / "changed" / "league.db")
    database.executescript(change)
    database.close()
    return judged(tally, folder / "changed", FEW, 1.0)


COLUMNS = "sitting_id, n, person_id, clip_id, topic, decision, verdict, claimed, idempotency, received_at"
AGAIN = COLUMNS.replace("n, p", "77, p")
ONE = "(SELECT min(rowid) FROM answer)"


@pytest.mark.parametrize(
    ("change", "lost", "doubled"),
    [
        ("", 0, 0),
        (f"DELETE FROM answer WHERE rowid = {ONE}", 1, 0),
        (f"UPDATE answer SET idempotency = 'another' WHERE rowid = {ONE}", 1, 0),
        (f"UPDATE answer SET decision = 'maybe' WHERE rowid = {ONE}", 1, 0),
        (
            f"INSERT INTO answer ({COLUMNS}) SELECT {COLUMNS.replace('n, p', '77, p')} FROM answer WHERE rowid = {ONE}",
            0,
            1,
        ),
        ("DELETE FROM reason WHERE rowid = (SELECT min(rowid) FROM reason)", 1, 0),
        ("UPDATE sitting SET ended_at = NULL WHERE rowid = (SELECT min(rowid) FROM sitting)", 1, 0),
    ],
)
def test_what_is_lost_or_there_twice_is_counted(
    taken: tuple[Clinic, Tally], tmp_path: Path, change: str, lost: int, doubled: int
) -> None:
    found = judged_after(taken, tmp_path, change)
    assert (found.lost, found.doubled) == (lost, doubled)
    assert found.acknowledged == FEW * LOOKS
    assert found.is_good == (not change)


def test_a_phone_that_did_not_come_to_its_end_is_an_error(taken: tuple[Clinic, Tally]) -> None:
    clinic, tally = taken
    assert judged(tally, clinic.data, FEW + 1, 1.0).errors == {"not ended": 1}
    assert len(held(clinic.data).answers) == FEW * LOOKS
