"""One exact frame, of house form by seeking and of any other file by counting."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.adapters import ffmpeg, frame, prepare
from app.adapters.files import Library
from app.domain.errors import BadInput, RecordingRefused
from app.domain.recording import House
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import Film, filmed

pytestmark = pytest.mark.media


@pytest.mark.parametrize("rate", ["30", "30000/1001", "25"])
def test_each_frame_of_a_prepared_recording_is_the_one_that_playing_shows(rate: str, tmp_path: Path) -> None:
    house = House(width=160, height=90, rate=Rate.model_validate(rate))
    film = Film(frames=65, rate=rate, size=(160, 90), sounds=())
    library = Library(tmp_path)
    prepared = prepare.prepare(filmed(tmp_path / "a.mkv", film), house, library)
    path = library.picture(prepared.digest)
    played = video.seen(path, 160, 90)
    for k in (0, 1, 2, 28, 29, 30, 31, 59, 60, 61, 64):
        picture = frame.frame(path, k)
        assert video.read_stamp(picture) == k
        assert np.abs(picture.astype(int) - played[k].astype(int)).mean() < 1


VP8 = ("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "600k")
FILMS = {
    "b-frames.avi": Film(frames=20, sounds=()),
    "odd.webm": Film(frames=20, size=(161, 91), sounds=(), video=VP8),
    "late.ts": Film(frames=20, sounds=(), mux=("-output_ts_offset", "3600")),
    "oblong.mp4": Film(frames=20, size=(256, 144), sounds=(), filters="scale=180:144,setsar=64/45"),
    "fast.mp4": Film(frames=40, rate="120", sounds=()),
}


@pytest.mark.parametrize("name", FILMS)
def test_a_frame_of_the_source_is_upright_with_square_pixels(name: str, tmp_path: Path) -> None:
    film = FILMS[name]
    path = filmed(tmp_path / name, film)
    for k in (0, 1, 7, film.frames - 1):
        picture = frame.frame(path, k)
        assert picture.shape == (film.size[1], film.size[0], 3)
        assert video.read_stamp(picture) == k
    with pytest.raises(
        BadInput, match=rf"no frame {film.frames}: .* has {film.frames} frames, 0 to {film.frames - 1}\."
    ):
        frame.frame(path, film.frames)
    with pytest.raises(BadInput, match="no frame -1"):
        frame.frame(path, -1)


def test_a_turned_picture_is_shown_upright(tmp_path: Path) -> None:
    film = Film(frames=6, size=(90, 160), sounds=(), store=lambda picture: np.ascontiguousarray(np.rot90(picture, 3)))
    path = video.turned(filmed(tmp_path / "a.mp4", film), 0, -1, 1, 0, move=(0, 160))
    picture = frame.frame(path, 5)
    assert picture.shape == (160, 90, 3)
    assert video.read_stamp(picture) == 5
    red, green, blue, yellow = video.patches(picture)
    assert red[0] > 150 > red[1]
    assert green[1] > 150 > green[0]
    assert blue[2] > 150 > blue[0]
    assert min(yellow[:2]) > 150 > yellow[2]


def test_a_frame_is_written_whole_as_png(tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=6, sounds=()))
    frame.write_frame(path, 3, tmp_path / "out" / "three.png")
    assert [found.name for found in (tmp_path / "out").iterdir()] == ["three.png"]
    with Image.open(tmp_path / "out" / "three.png") as picture:
        assert picture.size == (320, 180)
        assert video.read_stamp(np.asarray(picture)) == 3


def test_no_frame_can_be_had_of_what_is_no_recording(tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_text("no film")
    with pytest.raises(RecordingRefused, match="text"):
        frame.frame(tmp_path / "a.mp4", 0)


def test_the_house_form_of_every_rate_is_found_by_seeking(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    house = House(width=160, height=90, rate=Rate(num=60000, den=1001))
    film = Film(
        frames=70,
        rate="60000/1001",
        size=(160, 90),
        sounds=(),
        filters=f"scale=out_color_matrix=bt709,{ffmpeg.filter_tail(house)}",
        video=ffmpeg.house_video_options(house),
        mux=ffmpeg.mp4_options(house.rate),
    )
    path = filmed(tmp_path / "a.mp4", film)
    monkeypatch.setattr(frame, "_counted", lambda *_: pytest.fail("was decoded from the beginning"))
    assert [video.read_stamp(frame.frame(path, k)) for k in (0, 29, 30, 69)] == [0, 29, 30, 69]
    with pytest.raises(BadInput, match="70 frames"):
        frame.frame(path, 70)
