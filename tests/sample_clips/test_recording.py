"""Recordings of drawn plays: whole, small, and in the house form that the demo relies on."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from sample_clips.simulator import pictures, recording
from sample_clips.simulator.scene import Scene
from tests.sample_clips import drawn_scene

pytestmark = pytest.mark.media


def _short(scene: Scene, frames: int) -> Scene:
    cut = {name: getattr(scene, name)[: 4 * frames] for name in
           ("xy", "z", "facing", "ball", "official", "gaze", "focal", "follow")}  # fmt: skip
    actions = tuple(action for action in scene.actions if action.at < 4 * frames)
    return dataclasses.replace(scene, **cut, actions=actions)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Path]:
    scene = _short(drawn_scene.football(), 66)
    path = tmp_path_factory.mktemp("drawn") / "play.mp4"
    recording.write(scene, "line", path)
    return scene, path


def test_a_recording_has_every_frame_at_its_time(drawn: tuple[Scene, Path]) -> None:
    scene, path = drawn
    with av.open(str(path)) as opened:
        assert opened.streams.video[0].time_base == Fraction(1, 15360)
        times = [frame.pts for frame in opened.decode(video=0)]
    assert times == [i * 512 for i in range(scene.frames)]


def test_a_recording_is_in_house_form(drawn: tuple[Scene, Path]) -> None:
    with av.open(str(drawn[1])) as opened:
        video, sound = opened.streams.video[0].codec_context, opened.streams.audio[0].codec_context
        assert (video.width, video.height, video.pix_fmt) == (640, 360, "yuv420p")
        assert (video.color_range, video.colorspace, video.color_primaries, video.color_trc) == (1, 1, 1, 1)
        assert (sound.sample_rate, sound.channels) == (48000, 1)
        keys = [i for i, packet in enumerate(p for p in opened.demux(video=0) if p.size) if packet.is_keyframe]
    assert keys == [0, 30, 60]


def test_a_decoded_frame_is_the_drawn_one(drawn: tuple[Scene, Path]) -> None:
    scene, path = drawn
    stage = pictures.set_of(scene, "line")
    with av.open(str(path)) as opened:
        for i, frame in enumerate(opened.decode(video=0)):
            if i in (0, 31, 65):
                away = frame.to_ndarray(format="rgb24").astype(float) - pictures.picture(stage, i)
                assert np.abs(away).mean() < 6.0


def test_nothing_is_left_behind_when_the_encoder_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "SOUND_BITRATE", "nonsense")
    with pytest.raises(recording.DrawingFailed):
        recording.write(_short(drawn_scene.football(), 6), "line", tmp_path / "play.mp4")
    assert list(tmp_path.iterdir()) == []
