"""The commands as a stranger runs them: what they print, how they end, what they leave behind."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from app.adapters.curricula import dump
from app.store.content import list_games
from app.store.engine import Database
from app.store.recordings import list_recordings
from tests.adapters.video import Film, Sound, filmed, read_stamp
from tests.domain.samples import curriculum

FIELDS = {
    "recording": {"file", "verdict", "reason", "source", "prepared", "notes", "duplicate_of"},
    "source": {"width", "height", "rate", "frames", "duration_s", "sound"},
    "prepared": {"width", "height", "rate", "frames", "path"},
    "tape": {
        "lesson", "out", "captions", "poster", "frames", "duration_s", "rate", "segments", "chapters", "bytes", "notes",
    },
    "check": {"curriculum", "ok", "errors", "warnings", "cards", "recordings", "clips", "lessons", "quiz_plans",
              "policies", "crews"},
    "problem": {"level", "file", "line", "what", "expected"},
    "doctor": {"name", "ok", "found", "advice"},
}  # fmt: skip
"""The fields of each JSON line, as the README documents them."""


def pennon(data: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a command with its data in a folder of its own."""
    environment = os.environ | {"PENNON_DATA": str(data), "PENNON_HOUSE": "320x180@30"}
    command = [sys.executable, "-m", "app.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=300)


def lines(finished: subprocess.CompletedProcess[str]) -> list[dict[str, Any]]:
    """Its JSON lines; nothing else may stand on standard output."""
    return [json.loads(line) for line in finished.stdout.splitlines()]


def everything(folder: Path) -> list[str]:
    """Every file below a folder."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


@pytest.fixture(scope="module")
def league(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A curriculum folder with two stamped recordings."""
    root = tmp_path_factory.mktemp("league")
    for name in ("line", "high"):
        filmed(root / f"{name}.mp4", Film(frames=220, rate="30", sounds=(Sound(220 / 30),)))
    dump(curriculum(), root / "text", media="..")
    return root / "text"


def test_a_curriculum_is_checked_loaded_and_dumped_without_loss(league: Path, tmp_path: Path) -> None:
    checked = pennon(tmp_path / "data", "curriculum", "check", league, "--recordings", "--json")
    assert checked.returncode == 0, checked.stderr
    (summary,) = lines(checked)
    assert set(summary) == FIELDS["check"]
    assert summary["clips"] == 2
    assert pennon(tmp_path / "data", "curriculum", "load", league).returncode == 0
    assert pennon(tmp_path / "data", "curriculum", "load", league).returncode == 0
    assert pennon(tmp_path / "data", "curriculum", "dump", tmp_path / "out").returncode == 0
    again = pennon(tmp_path / "more", "curriculum", "check", tmp_path / "out", "--recordings", "--json")
    assert lines(again) == [summary]
    refused = pennon(tmp_path / "data", "curriculum", "dump", tmp_path / "out")
    assert (refused.returncode, "not empty" in refused.stderr) == (1, True)


def test_problems_come_with_file_line_and_exit_code_1_and_nothing_is_loaded(league: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken"
    dump(curriculum(), broken, media=str(league.parent))
    clips = broken / "clips" / "offside.toml"
    clips.write_text(clips.read_text(encoding="utf-8").replace("out = 210", "out = 20", 1), encoding="utf-8")
    checked = pennon(tmp_path / "data", "curriculum", "check", broken, "--json")
    problem, *_, summary = lines(checked)
    assert checked.returncode == 1
    assert set(problem) == FIELDS["problem"]
    assert (problem["file"], problem["level"]) == ("clips/offside.toml", "error")
    assert problem["line"] > 0
    assert not summary["ok"]
    told = pennon(tmp_path / "data", "curriculum", "load", broken)
    assert (told.returncode, "clips/offside.toml:" in told.stderr, told.stdout) == (1, True, "")
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"Dear league, please find attached\n" * 20, "text"),
        (b"#EXTM3U\n#EXT-X-VERSION:3\n#EXTINF:10,\nfile:///etc/passwd\n", "points to other files"),
    ],
)
def test_a_file_that_is_no_recording_is_named_and_leaves_nothing(
    league: Path, tmp_path: Path, content: bytes, says: str
) -> None:
    media = tmp_path / "media"
    media.mkdir()
    (media / "line.mp4").write_bytes(content)
    (media / "high.mp4").write_bytes((league.parent / "high.mp4").read_bytes())
    dump(curriculum(), tmp_path / "text", media=str(media))
    built = pennon(tmp_path / "data", "tape", "build", tmp_path / "text", "two-instants", "--out", tmp_path / "o.mp4")
    assert built.returncode == 1
    assert says in built.stderr.lower()
    assert "line" in built.stderr
    added = pennon(tmp_path / "data", "recording", "add", media / "line.mp4", "--json")
    (line,) = lines(added)
    assert (added.returncode, line["verdict"], line["source"]) == (1, "rejected", None)
    assert not (tmp_path / "o.mp4").exists()
    assert [name for name in everything(tmp_path / "data") if "original" in name] == []


def test_a_lesson_becomes_a_tape_and_the_second_build_makes_nothing(league: Path, tmp_path: Path) -> None:
    out = tmp_path / "tape" / "two.mp4"
    first, second = (
        pennon(tmp_path / "data", "tape", "build", league, "two-instants", "--out", out, "--json") for _ in range(2)
    )
    assert first.returncode == 0, first.stderr
    (made,), (again,) = lines(first), lines(second)
    assert set(made) == FIELDS["tape"]
    assert made["frames"] == 90 + 180 + 80 + 60
    assert made["segments"] == {"made": 4, "reused": 0}
    assert again["segments"] == {"made": 0, "reused": 4}
    assert everything(out.parent) == ["two.jpg", "two.mp4", "two.vtt"]


def test_a_lesson_that_is_not_there_is_named_with_those_that_are(league: Path, tmp_path: Path) -> None:
    built = pennon(tmp_path / "data", "tape", "build", league, "three", "--out", tmp_path / "o.mp4")
    assert built.returncode == 1
    assert 'no lesson "three"' in built.stderr
    assert "two-instants" in built.stderr


def test_recordings_are_added_and_known_again(league: Path, tmp_path: Path) -> None:
    added = pennon(tmp_path, "recording", "add", league.parent / "line.mp4", league.parent / "high.mp4", "--json")
    one, two = lines(added)
    assert added.returncode == 0
    assert set(one) == FIELDS["recording"]
    assert set(one["source"]) == FIELDS["source"]
    assert set(one["prepared"]) == FIELDS["prepared"]
    assert (one["duplicate_of"], two["duplicate_of"]) == (None, "line.mp4")
    assert Path(one["prepared"]["path"]).is_file()


def test_one_exact_frame_is_written_and_a_frame_beyond_the_end_is_not(league: Path, tmp_path: Path) -> None:
    wanted = pennon(tmp_path, "frame", league.parent / "line.mp4", "--at", "137", "--out", tmp_path / "f.png")
    assert wanted.returncode == 0, wanted.stderr
    with Image.open(tmp_path / "f.png") as picture:
        assert read_stamp(np.asarray(picture)) == 137
    beyond = pennon(tmp_path, "frame", league.parent / "line.mp4", "--at", "220", "--out", tmp_path / "g.png")
    assert (beyond.returncode, "220 frames" in beyond.stderr) == (1, True)
    assert everything(tmp_path) == ["f.png"]


def test_the_doctor_says_what_is_there(tmp_path: Path) -> None:
    told = pennon(tmp_path, "doctor", "--json")
    checks = lines(told)
    assert told.returncode == 0, told.stdout
    assert {frozenset(check) for check in checks} == {frozenset(FIELDS["doctor"])}
    assert [check["name"] for check in checks if not check["ok"]] == []


def test_the_doctor_names_what_is_missing_and_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    told = pennon(tmp_path / "file", "doctor", "--json")
    (bad,) = (check for check in lines(told) if not check["ok"])
    assert told.returncode == 1
    assert bad["name"] == "data folder"
    assert "PENNON_DATA" in bad["advice"]


def test_with_game_and_angle_a_recording_is_the_leagues_and_the_same_bytes_are_not_entered_twice(
    league: Path, tmp_path: Path
) -> None:
    said = ("--game", "Herons v Terns", "--angle", "High", "--json")
    other = filmed(tmp_path / "other.mp4", Film(frames=60, rate="30"))
    added = pennon(tmp_path, "recording", "add", league.parent / "line.mp4", league.parent / "high.mp4", other, *said)
    assert (added.returncode, added.stderr) == (0, "")
    database = Database(f"sqlite:///{tmp_path / 'league.db'}")
    with database.read() as session:
        (game,) = list_games(session)
        kept = list_recordings(session)
    database.close()
    assert game.title == "Herons v Terns"
    assert sorted(each.recording.file for each in kept) == ["line.mp4", "other.mp4"]
    assert {(each.recording.game, each.recording.angle, each.state.value) for each in kept} == {
        (game.id, "High", "ready")
    }
    assert all(each.bytes > 0 for each in kept)
