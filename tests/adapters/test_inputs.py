"""Every odd upload of the shared manifest: verdict, facts, and each frame of what is made of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.actions.recording import receive_recording
from app.adapters.files import Library
from app.adapters.frame import frame
from tests.adapters import video
from tests.adapters.manifest import HOUSE, SHARED, check_pictures, check_sound, check_source, entries

pytestmark = [
    pytest.mark.media,
    pytest.mark.skipif(not SHARED.is_dir(), reason="the shared test media are not beside the repository"),
]


def named(*verdicts: str) -> pytest.MarkDecorator:
    """One test for each entry with one of these verdicts."""
    chosen = [entry for entry in entries() if entry["expected"]["verdict"] in verdicts]
    return pytest.mark.parametrize("entry", chosen, ids=lambda entry: str(entry["file"]))


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    return Library(tmp_path_factory.mktemp("library"))


@named("reject")
def test_what_is_no_recording_is_refused_in_words_and_leaves_nothing(entry: dict[str, Any], tmp_path: Path) -> None:
    received = receive_recording(SHARED / entry["file"], HOUSE, Library(tmp_path))
    assert received.verdict == "rejected"
    assert received.reason is not None
    assert received.reason.endswith(".")
    assert not list(tmp_path.rglob("*"))


@named("accept", "either")
def test_an_odd_recording_is_found_and_prepared_as_the_manifest_says(entry: dict[str, Any], library: Library) -> None:
    received = receive_recording(SHARED / entry["file"], HOUSE, library)
    if received.verdict == "rejected":
        assert entry["expected"]["verdict"] == "either", received.reason
        assert received.reason
        return
    check_source(received, entry["expected"])
    check_pictures(received, entry)
    check_sound(received)


@pytest.mark.parametrize("entry", [e for e in entries() if e["kind"] in ("plain", "rotation 90/270", "mirrored",
    "non-square pixels", "edit list that hides frames", "missing time stamps", "time stamps wrap round or jump",
    "picture size changes", "interlaced", "high frame rate")], ids=lambda entry: str(entry["file"]))  # fmt: skip
def test_an_exact_frame_of_the_file_itself_can_be_had(entry: dict[str, Any]) -> None:
    expected = entry["expected"]
    first, count = expected["stamps"][0], expected["frames"]
    for k in (0, 1, count // 2, count - 1):
        picture = frame(SHARED / entry["file"], k)
        assert picture.shape == (expected["display_height"], expected["display_width"], 3)
        step = 2 if entry["kind"] == "interlaced" else 1
        assert video.read_stamp(picture) in range(first + step * k, first + step * k + step)


def test_colours_of_tagged_files_are_those_of_the_plain_one(library: Library) -> None:
    plain = _patches("plain_ok.mp4", library)
    for name in ("mjpeg_digicam.avi", "mirror_front_camera.mp4", "rot180_upside_down.mp4"):
        assert np.abs(np.array(_patches(name, library)) - np.array(plain)).max() <= 16, name
    for patch, bright in zip(plain, _patches("hevc10_hlg.mp4", library), strict=True):
        assert abs(_saturation(bright) - _saturation(patch)) <= 0.25 * _saturation(patch)


def test_black_and_white_of_a_full_range_picture_stay_black_and_white(library: Library) -> None:
    received = receive_recording(SHARED / "full_range.mp4", HOUSE, library)
    assert received.prepared is not None
    picture = video.seen(Path(received.prepared.path), HOUSE.width, HOUSE.height)[10]
    white, black = picture[5, 4:12], picture[5, 20:28]
    assert white.min() >= 245
    assert black.max() <= 10
    assert black.mean() < 5


def _patches(name: str, library: Library) -> list[tuple[int, int, int]]:
    received = receive_recording(SHARED / name, HOUSE, library)
    assert received.prepared is not None
    return video.patches(video.seen(Path(received.prepared.path), HOUSE.width, HOUSE.height)[10])


def _saturation(colour: tuple[int, int, int]) -> float:
    return 1 - min(colour) / max(1, *colour)


def test_what_is_missing_or_was_changed_is_told(library: Library) -> None:
    told = {
        "truncated_faststart.mp4": "breaks off: 2.3 s of 4.0 s",
        "corrupt_middle.mp4": "missing or cannot be read, from 1.68 s to 1.84 s",
        "audio_late.mp4": "starts 0.8 s after",
        "video_late.mp4": "starts 0.6 s before",
        "audio_longer.mp4": "goes on 1.4 s after",
        "audio_shorter.mp4": "ends 1.8 s before",
        "audio_two_tracks.mkv": "2 sound tracks",
        "interlaced_tff_avchd.MTS": "interlaced",
        "hevc10_hlg.mp4": "high dynamic range",
        "last_frame_at_27h.mp4": "clock of the file jumps",
        "no_audio.mp4": "no sound",
    }
    for name, words in told.items():
        assert words in " ".join(receive_recording(SHARED / name, HOUSE, library).notes), name
    assert receive_recording(SHARED / "plain_ok.mp4", HOUSE, library).notes == ()


def test_nothing_private_of_the_file_is_left_in_the_prepared_recording(library: Library) -> None:
    received = receive_recording(SHARED / "metadata_location.mp4", HOUSE, library)
    assert received.prepared is not None
    data = Path(received.prepared.path).read_bytes()
    for private in (b"script", b"+00.0000", b"npg", b"Lavf", "\u202e".encode()):
        assert private not in data
