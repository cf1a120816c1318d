"""Truth files: what is written is read, whole and to the millimetre; the ruling follows three-valued logic."""

from __future__ import annotations

import gzip
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from sample_clips.simulator import truth
from sample_clips.simulator.__main__ import main
from sample_clips.simulator.plays import ARCHIVED, PLAYS
from sample_clips.simulator.truth import Finding, Play, Truth, Verdict


@pytest.fixture(scope="module")
def play() -> Play:
    return PLAYS["offside-01"]()


def test_a_truth_is_read_as_it_was_written(play: Play, tmp_path: Path) -> None:
    told = truth.grounded(play)
    file = truth.write(told, tmp_path)
    assert file.name == "offside-01.json.gz"
    assert truth.read(file) == told
    assert [path.name for path in tmp_path.iterdir()] == [file.name]
    assert file.stat().st_size < 90_000


def test_something_else_is_no_truth(play: Play, tmp_path: Path) -> None:
    file = truth.write(play.truth, tmp_path)
    told = gzip.decompress(file.read_bytes()).replace(b'"ruling":"flag"', b'"ruling":"perhaps"')
    file.write_bytes(gzip.compress(told))
    with pytest.raises(ValueError, match="ruling"):
        truth.read(file)
    file.write_bytes(told)
    with pytest.raises(ValueError, match="no truth of a play"):
        truth.read(file)


def test_the_track_gives_back_every_position_to_the_millimetre(play: Play) -> None:
    scene, track = play.scene, play.truth.track
    assert track is not None
    taken = slice(0, 4 * scene.frames, 4)
    assert track.where("xy").shape == (scene.frames, len(scene.actors), 2)
    assert np.abs(track.where("xy") - scene.xy[taken]).max() <= 0.00051
    assert np.abs(track.where("ball") - scene.ball[taken]).max() <= 0.00051
    assert np.abs(track.where("official") - scene.official[taken]).max() <= 0.00051
    assert np.abs(track.where("facing") - scene.facing[taken]).max() <= 0.00051
    assert np.abs(track.where("z") - scene.z[taken]).max() <= 0.00051


def test_ground_takes_the_stored_ball_to_where_the_camera_sees_it(play: Play) -> None:
    told = truth.grounded(play)
    assert set(told.ground) == set(told.views)
    frame = told.instants["contact"]
    matrix = np.array(told.ground["line"]["contact"]).reshape(3, 3)
    x, y, w = matrix @ [*play.scene.ball[truth.sample_of(frame), :2], 1.0]
    assert 0 < x / w < 640
    assert 0 < y / w < 360


def test_an_archive_is_one_object_a_line(tmp_path: Path) -> None:
    told = [ARCHIVED["offside"](seed).truth for seed in range(2)]
    file = truth.write_archive(told, tmp_path / "offside.jsonl.gz")
    assert len(gzip.decompress(file.read_bytes()).splitlines()) == 2
    assert truth.read_archive(file) == tuple(told)


VERDICTS: tuple[Verdict, ...] = ("present", "absent", "can't tell")


@pytest.mark.parametrize(("element", "exception"), list(product(VERDICTS, VERDICTS)))
def test_the_ruling_follows_three_valued_logic(element: Verdict, exception: Verdict) -> None:
    found = {
        name: Finding(verdict=verdict, frame=0, view="line", why=".")
        for name, verdict in {"a": "present", "b": element, "x": exception}.items()
    }
    expected = None if element != "absent" and exception != "present" else False
    if (element, exception) == ("present", "absent"):
        expected = True
    assert truth.rule(found, ["a", "b"], ["x"]) is expected


def test_distances_are_millimetres_and_never_minus_nought() -> None:
    assert truth.metres({"a": 0.12345, "b": -0.0001}) == {"a": 0.123, "b": 0.0}
    assert str(truth.metres({"b": -0.0001})["b"]) == "0.0"


def test_every_registered_play_bears_its_own_name() -> None:
    assert all(name == name.strip() and "-" in name for name in PLAYS)
    assert isinstance(PLAYS["offside-02"]().truth, Truth)


def test_the_command_writes_the_truth_of_named_plays_and_refuses_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["truth", "offside-03", "--into", str(tmp_path)])
    assert capsys.readouterr().out.strip().endswith("offside-03.json.gz")
    assert truth.read(tmp_path / "offside-03.json.gz").name == "offside-03"
    with pytest.raises(SystemExit, match="No such play: offside-99"):
        main(["truth", "offside-99", "--into", str(tmp_path)])


def test_the_command_lists_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    main(["list", "offside-03"])
    said = capsys.readouterr().out
    assert "offside-03" in said
    assert "no flag" in said
    assert "line+high" in said
