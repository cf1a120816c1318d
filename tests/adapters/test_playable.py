"""What can be looked at before it is prepared: what browsers play as it came, and no more."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from app.adapters.playable import as_it_came
from tests.adapters import video
from tests.adapters.video import BT709, X264, Film, Sound, filmed

pytestmark = pytest.mark.media

PLAIN = Film(frames=30, rate="30", sounds=(Sound(1.0),))
VP8 = ("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "600k")
VP9 = ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "300k", "-pix_fmt", "yuv420p")
OPUS = ("-c:a", "libopus")


def h264(*options: str, pixels: str = "yuv420p") -> Film:
    return replace(PLAIN, video=(*X264, *BT709, "-pix_fmt", pixels, *options))


@pytest.mark.parametrize(
    ("name", "film", "type"),
    [
        ("a.mp4", PLAIN, "video/mp4"),
        ("a.mov", PLAIN, "video/mp4"),
        ("a.mp4", h264("-bf", "2"), "video/mp4"),
        ("a.webm", replace(PLAIN, video=VP8, audio=OPUS), "video/webm"),
        ("a.webm", replace(PLAIN, video=VP9, audio=OPUS), "video/webm"),
        ("a.mp4", replace(PLAIN, video=VP9), "video/mp4"),
    ],
)
def test_what_every_browser_plays_can_be_played(name: str, film: Film, type: str, tmp_path: Path) -> None:
    came = as_it_came(filmed(tmp_path / name, film))
    assert (came.why_not, came.type) == ("", type)
    assert abs(came.seconds - 1.0) < 0.07
    assert came.first_s == 0


def test_a_picture_that_begins_late_says_how_late(tmp_path: Path) -> None:
    came = as_it_came(filmed(tmp_path / "a.mp4", replace(PLAIN, before=("-itsoffset", "0.6"))))
    assert came.why_not == ""
    assert abs(came.first_s - 0.6) < 0.001
    assert abs(came.seconds - 1.0) < 0.07


@pytest.mark.parametrize(
    ("name", "film", "said"),
    [
        ("a.mkv", PLAIN, "Not every browser plays pictures of this kind (H264)."),
        ("a.ts", PLAIN, "do not play files of this kind (MPEGTS)"),
        ("a.avi", PLAIN, "do not play files of this kind (AVI)"),
        ("a.mp4", replace(PLAIN, video=("-c:v", "libx265", "-preset", "ultrafast")), "of this kind (HEVC)"),
        ("a.mp4", h264(pixels="yuv422p"), "such colours (yuv422p)"),
        ("a.mp4", h264(pixels="yuv420p10le"), "such colours (yuv420p10le)"),
        ("a.mp4", h264("-flags", "+ildct+ilme", "-x264-params", "tff=1"), "interlaced"),
        ("a.mp4", replace(PLAIN, before=("-itsoffset", "60")), "Its clock is odd"),
    ],
)
def test_what_some_browser_may_not_play_says_why(name: str, film: Film, said: str, tmp_path: Path) -> None:
    came = as_it_came(filmed(tmp_path / name, film))
    assert said in came.why_not
    assert came.type == ""


def test_a_turned_picture_says_so(tmp_path: Path) -> None:
    path = video.turned(filmed(tmp_path / "a.mp4", PLAIN), 0, 1, -1, 0, move=(180, 0))
    assert "camera turned" in as_it_came(path).why_not


def test_a_file_that_tells_no_length_says_so(tmp_path: Path) -> None:
    film = replace(PLAIN, video=VP8, audio=OPUS, mux=("-live", "1"))
    assert as_it_came(filmed(tmp_path / "a.webm", film)).why_not == "It does not say how long it is."


def test_what_is_no_recording_says_what_preparation_will_say(tmp_path: Path) -> None:
    path = tmp_path / "a.mp4"
    path.write_bytes(b"These are notes, no picture at all.\n" * 100)
    assert as_it_came(path).why_not == "This is text, not a recording."


def test_a_file_that_comes_anew_under_the_same_name_is_looked_at_anew(tmp_path: Path) -> None:
    path = tmp_path / "a.mp4"
    path.write_bytes(b"text " * 100)
    assert as_it_came(path).why_not
    path.unlink()
    assert not as_it_came(filmed(path, PLAIN)).why_not


def test_only_the_beginning_is_read(tmp_path: Path) -> None:
    film = replace(PLAIN, frames=900, size=(160, 90), sounds=(), video=(*X264, *BT709, "-pix_fmt", "yuv420p"))
    path = filmed(tmp_path / "a.mp4", replace(film, mux=("-movflags", "+faststart")))
    whole = path.stat().st_size
    with path.open("r+b") as file:
        file.truncate(whole * 3 // 4)
    came = as_it_came(path)
    assert (came.why_not, round(came.seconds)) == ("", 30)
