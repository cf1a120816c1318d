"""What a file is found to be, and what is refused before or after it is opened."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.adapters import child, ffmpeg, mov, probe, sniff
from app.adapters.contents import turn_of
from app.adapters.timeline import Timeline
from app.domain.errors import RecordingRefused, RenderFailed
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import Film, Picture, filmed

MEDIA = Path(__file__).parent / "media"
GIF_HEAD = b"GIF89a" + struct.pack("<HH", 10_000, 10_000) + b"\x80\x00\x00" + b"\x00\x00\x00\xff\xff\xff"
GIF_PICTURE = b"\x2c" + struct.pack("<HHHH", 0, 0, 10_000, 10_000) + b"\x00\x02\x02\x44\x01\x00"

NO_RECORDINGS = {
    "nothing at all": (b"", "empty"),
    "zeros": (b"\0" * 5000, "blank"),
    "a page": (b"<html><script>alert(1)</script></html>", "text"),
    "a playlist": (b"#EXTM3U\n#EXTINF:3.0,\nhttp://127.0.0.1:9/a.ts\n", "points to other files"),
    "a playlist with a mark before it": ("\ufeff#EXTM3U\nclip.ts\n".encode(), "points to other files"),
    "a script": (b"ffconcat version 1.0\nfile clip.mp4\n", "points to other files"),
    "a manifest": (b'<?xml version="1.0"?>\n<MPD></MPD>', "points to other files"),
    "a drawing": (b'<svg xmlns="http://www.w3.org/2000/svg"><image href="clip.mp4"/></svg>', "points to other files"),
    "a playlist behind a sound's mark": (b"ID3\x04\0\0\0\0\0\0#EXTM3U\nclip.ts\n", "can be read"),
    "a still": (b"\xff\xd8\xff\xe0\0\x10JFIF\0", "still picture (JPEG)"),
    "chance": (bytes(range(200, 0, -1)) * 8, "no recording in a format"),
    "boxes without index": (b"\0\0\0\x18ftypisom\0\0\0\0isomiso2\0\0\0\x10mdat12345678", "not complete"),
    "a huge picture in few bytes": (GIF_HEAD + GIF_PICTURE * 2 + b"\x3b", "too large: 10000 x 10000"),
}


@pytest.mark.parametrize("what", NO_RECORDINGS)
def test_what_is_no_recording_is_refused_by_its_bytes_whatever_its_name(what: str, tmp_path: Path) -> None:
    data, reason = NO_RECORDINGS[what]
    (tmp_path / "clip.mp4").write_bytes(data)
    with pytest.raises(RecordingRefused, match=reason.replace("(", r"\(").replace(")", r"\)")):
        probe.probe(tmp_path / "clip.mp4")


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.mp4"):
        with pytest.raises(RecordingRefused, match="no ordinary file"):
            sniff.format_of(path)


@pytest.mark.media
@pytest.mark.parametrize(
    ("name", "film", "frames", "rate", "seconds"),
    [
        ("a.mp4", Film(), 75, "25/1", "3"),
        ("a.mkv", Film(frames=60, rate="30000/1001"), 60, "30000/1001", "2.002"),
        ("a.mov", Film(frames=4, rate="1", sounds=()), 4, "1/1", "4"),
        ("a.ts", Film(frames=48, rate="24000/1001", mux=("-output_ts_offset", "7200")), 48, "24000/1001", "2.002"),
        ("a.avi", Film(audio=("-c:a", "pcm_s16le")), 75, "25/1", "3"),
        ("a.webm", Film(frames=50, size=(161, 91), video=("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "300k"),
            audio=("-c:a", "libopus"), mux=("-live", "1")), 50, "25/1", "2"),
        ("a.flv", Film(frames=30), 30, "25/1", "1.2"),
    ],
)  # fmt: skip
def test_frames_rate_and_length_are_those_of_the_pictures(
    name: str, film: Film, frames: int, rate: str, seconds: str, tmp_path: Path
) -> None:
    source = probe.probe(filmed(tmp_path / name, film))
    assert (source.frames, str(source.rate)) == (frames, rate)
    assert abs(source.duration - Fraction(seconds)) <= Fraction(2, 1000)
    assert (source.width, source.height) == film.size
    assert source.sound == bool(film.sounds)


TURNS: dict[tuple[int, int, int, int], Callable[[Picture], Picture]] = {
    (1, 0, 0, 1): lambda picture: picture,
    (0, 1, -1, 0): lambda picture: np.rot90(picture, 1),
    (-1, 0, 0, -1): lambda picture: np.rot90(picture, 2),
    (0, -1, 1, 0): lambda picture: np.rot90(picture, 3),
    (-1, 0, 0, 1): lambda picture: picture[:, ::-1],
    (1, 0, 0, -1): lambda picture: picture[::-1],
    (0, 1, 1, 0): lambda picture: picture.transpose(1, 0, 2),
    (0, -1, -1, 0): lambda picture: np.rot90(picture, 2).transpose(1, 0, 2),
}


@pytest.mark.media
@pytest.mark.parametrize("matrix", TURNS, ids=str)
def test_all_eight_ways_to_hold_a_camera_are_set_upright(matrix: tuple[int, int, int, int], tmp_path: Path) -> None:
    store = TURNS[matrix]
    lies = bool(matrix[1])
    size = (90, 160) if lies else (160, 90)
    path = filmed(
        tmp_path / "a.mp4", Film(frames=4, size=size, sounds=(), store=lambda p: np.ascontiguousarray(store(p)))
    )
    video.turned(path, *matrix)
    source = probe.probe(path)
    assert (source.width, source.height) == size
    assert bool(probe.contents(path).picture.turn) == (matrix != (1, 0, 0, 1))


def test_a_slanted_matrix_takes_the_nearest_turn() -> None:
    one = 1 << 16
    assert turn_of((one, 9000, 0, -9000, one, 0, 0, 0, 1 << 30)) == ()
    assert turn_of((9000, one, 0, -one, 9000, 0, 0, 0, 1 << 30)) == ("transpose=clock",)


@pytest.mark.media
def test_the_length_comes_from_the_pictures_when_the_header_lies(tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(sounds=(), video=(*video.X264[:-1], "0", "-pix_fmt", "yuv420p")))
    for stated in (1, 36_000):
        data = bytearray(path.read_bytes())
        for box, at in ((b"mvhd", 16), (b"tkhd", 20), (b"mdhd", 16), (b"elst", 8)):
            start = data.index(box) + 4
            ticks = 12_800 if box == b"mdhd" else 1000
            data[start + at : start + at + 4] = struct.pack(">I", stated * ticks)
        path.write_bytes(data)
        source = probe.probe(path)
        assert (source.frames, source.duration) == (75, Fraction(3))


@pytest.mark.media
def test_an_edit_list_that_trims_is_followed(tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(sounds=()))
    data = bytearray(path.read_bytes())
    start = data.index(b"elst") + 12
    data[start : start + 4] = struct.pack(">I", 2000)
    path.write_bytes(data)
    assert probe.probe(path).frames == 50


@pytest.mark.media
def test_a_leap_of_the_clock_is_closed_and_a_true_gap_kept(tmp_path: Path) -> None:
    plain = filmed(tmp_path / "a.mp4", Film(frames=20, sounds=(), video=(*video.X264[:-1], "0", "-pix_fmt", "yuv420p")))
    leap = video.retimed(plain, tmp_path / "leap.mp4", [k / 25 + (90_000 if k >= 10 else 0) for k in range(20)])
    gap = video.retimed(plain, tmp_path / "gap.mp4", [k / 25 + (30 if k >= 10 else 0) for k in range(20)])
    assert probe.probe(leap).duration == Fraction(20, 25)
    assert abs(probe.probe(gap).duration - Fraction(770, 25)) < Fraction(1, 1000)
    assert probe.probe(leap).frames == probe.probe(gap).frames == 20


@pytest.mark.media
def test_a_cover_a_still_and_bare_sound_are_no_recording_but_do_not_hide_one(tmp_path: Path) -> None:
    film = filmed(tmp_path / "film.mp4", Film(frames=10, sounds=()))
    still = filmed(tmp_path / "still.mp4", Film(frames=1, size=(640, 360), sounds=()))
    sound = video.tone(tmp_path / "sound.wav", 1.0)
    with pytest.raises(RecordingRefused, match="single picture"):
        probe.probe(still)
    with pytest.raises(RecordingRefused, match="no moving picture in this file, only sound"):
        probe.probe(sound)
    both = tmp_path / "both.mkv"
    video.ran([*_tool(), "-i", str(still), "-i", str(film), "-map", "0", "-map", "1", "-c", "copy", str(both)])
    assert probe.probe(both).frames == 10


def _tool() -> tuple[str, ...]:
    return (ffmpeg.program(), *ffmpeg.QUIET)


@pytest.mark.media
def test_a_recording_cut_out_of_a_longer_one_begins_with_its_first_whole_group(tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.ts", Film(video=(*video.X264[:-4], "-g", "25", "-bf", "2", "-pix_fmt", "yuv420p")))
    data = path.read_bytes()
    path.write_bytes(data[: 3 * 188] + data[len(data) // 6 // 188 * 188 :])
    assert probe.probe(path).frames == 50


@pytest.mark.media
def test_woven_fields_are_seen_marked_or_not_and_whole_pictures_marked_so_are_not(tmp_path: Path) -> None:
    x264 = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-pix_fmt", "yuv420p")
    woven = Film(
        frames=100, rate="50", sounds=(), filters="tinterlace=interleave_bottom,fieldorder=bff", mux=("-r", "25")
    )
    marked = replace(woven, video=(*x264, "-flags:v", "+ildct+ilme", "-x264-params", "bff=1"))
    silent = replace(woven, video=x264, filters="tinterlace=interleave_top,setfield=prog")
    whole = Film(sounds=(), video=(*x264, "-flags:v", "+ildct+ilme", "-x264-params", "tff=1"), filters="setfield=tff")
    found = {}
    for name, film in (("marked", marked), ("silent", silent), ("whole", whole), ("plain", Film(sounds=()))):
        path = filmed(tmp_path / f"{name}.mp4", film)
        found[name] = probe.look(path, probe.contents(path)).fields
    assert found == {"marked": "bff", "silent": "tff", "whole": None, "plain": None}


@pytest.mark.media
def test_the_last_frame_a_day_away_costs_neither_time_nor_length() -> None:
    source = probe.probe(MEDIA / "last_frame_at_27h.mp4")
    assert (source.frames, source.duration) == (51, Fraction(51, 25))


@pytest.mark.media
def test_reading_a_file_stays_within_memory_and_starts_nothing_else(tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.ts", Film(frames=3, size=(64, 64), sounds=(), filters="scale=9000:9000"))
    with pytest.raises(RecordingRefused, match="too large: 9000 x 9000"):
        probe.contents(path)


rates = st.sampled_from(["24000/1001", "25", "30000/1001", "30", "50", "60000/1001", "120", "25/2", "1"])


@given(rates, st.integers(2, 400), st.sampled_from([1000, 90_000, 12_800, 1_000_000]), st.integers(0, 10**9))
def test_the_rate_is_found_however_the_clock_rounds(rate: str, frames: int, ticks: int, start: int) -> None:
    exact = Rate.model_validate(rate)
    times = [start + round(exact.seconds(k) * ticks) for k in range(frames)]
    timeline = Timeline(np.array(times, np.int64), Fraction(1, ticks), 1 / exact.fraction)
    assert timeline.rate((exact.fraction,)) == exact
    assert abs(timeline.duration - exact.seconds(frames)) <= Fraction(1, ticks)


@given(st.lists(st.sampled_from([1 / 60, 1 / 30, 1 / 24, 1 / 15]), min_size=60, max_size=90))
def test_uneven_gaps_have_no_rate(gaps: list[float]) -> None:
    usual = max(gaps.count(gap) for gap in set(gaps)) / len(gaps)
    times = np.round(np.cumsum([0.0, *gaps]) * 90_000).astype(np.int64)
    rate = Timeline(times, Fraction(1, 90_000), Fraction(1, 30)).rate((Fraction(30), Fraction(120)))
    assert rate is None or usual >= 0.7


def test_lost_pictures_do_not_hide_the_rate() -> None:
    times = np.delete(np.arange(100, dtype=np.int64), range(41, 50))
    assert Timeline(times, Fraction(1, 25), Fraction(1, 25)).rate((Fraction(25),)) == Rate(num=25)


@given(st.binary(max_size=400))
def test_any_bytes_in_an_index_are_read_without_error(index: bytes) -> None:
    assert mov.edits_lie(index) in (True, False)


@pytest.mark.parametrize("look", ["header", "pictures"])
def test_a_child_that_is_killed_is_no_verdict_on_the_file(
    look: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    film = filmed(tmp_path / "a.mp4")
    if look == "header":
        monkeypatch.setattr(child, "python", lambda *_: ["/bin/sh", "-c", "kill -9 $$"])
    else:
        (tmp_path / "killed").write_text("#!/bin/sh\nkill -9 $$\n")
        (tmp_path / "killed").chmod(0o755)
        monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "killed"))
    with pytest.raises(RenderFailed, match="ended from outside"):
        probe.look(film, probe.contents(film))


def test_a_child_that_fails_for_its_own_reasons_is_no_verdict_on_the_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "a.gif").write_bytes(GIF_HEAD)
    monkeypatch.setattr(child, "python", lambda *_: ["/bin/sh", "-c", "echo broken >&2; exit 3"])
    with pytest.raises(RenderFailed, match="broken"):
        probe.contents(tmp_path / "a.gif")
