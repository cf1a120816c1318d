"""Phone cuts: small and legible, silent from the decisive moment on, and nothing of the source is in them.

Every kind is probed: with sound and without, with something hidden, held at its end, squeezed and made smaller.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from app.adapters import ffmpeg
from app.adapters.files import Library
from app.adapters.phone import MOST, phone_cut
from app.adapters.prepare import prepare
from app.domain.guard import Cut
from app.domain.recording import Blur, Box, House, Prepared
from app.domain.timecode import Rate, Span
from tests.adapters import video
from tests.adapters.video import Film, Picture

pytestmark = pytest.mark.media

RATE = Rate(num=30)
HOUSE = House(width=640, height=360, rate=RATE)
FRAMES = 240
TELLTALE = ("title=offside-flag", "comment=no flag here", "artist=who filmed it", "location=+10.0+20.0/")
PLAIN = Cut("line", Span(first=20, end=110), 0)
STAMP = Blur(Box(left=0, top=0, width=640, height=36), Span(first=60, end=90))
"""Hides the upper half of the stamp, without which it cannot be read."""
KINDS = {
    "silent": PLAIN,
    "from the first frame": replace(PLAIN, span=Span(first=0, end=90)),
    "held": replace(PLAIN, hold=31),
    "heard": replace(PLAIN, heard=60, hold=20),
    "hidden": replace(PLAIN, blurs=(STAMP,), hold=9),
    "heard and hidden": replace(PLAIN, heard=60, blurs=(STAMP,)),
    "decisive at once": replace(PLAIN, heard=0),
}


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    return Library(tmp_path_factory.mktemp("phone"))


@pytest.fixture(scope="module")
def source(library: Library) -> Prepared:
    """A recording with everything in it that could tell: titles, places, chapters, subtitles, sound to its end."""
    chapters = library.root / "chapters.txt"
    marks = ";FFMETADATA1\ntitle=offside-flag\n[CHAPTER]\nTIMEBASE=1/1\nSTART=0\nEND=4\ntitle=the flag goes up\n"
    chapters.write_text(marks)
    names = [option for each in TELLTALE for option in ("-metadata", each)]
    sounds = (video.Sound(FRAMES / 30),)
    film = Film(frames=FRAMES, rate="30", size=(640, 360), sounds=sounds, mux=names)
    plain = video.filmed(library.root / "plain.mkv", film)
    told = library.root / "told.mkv"
    words = library.root / "words.srt"
    words.write_text("1\n00:00:00,000 --> 00:00:04,000\nThe flag goes up\n")
    inputs = [option for each in (plain, chapters, words) for option in ("-i", str(each))]
    maps = ("-map", "0", "-map", "2", "-map_metadata", "1", "-map_chapters", "1")
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, *inputs, *maps, "-c", "copy", "-c:s", "srt", str(told)])
    with av.open(str(told)) as file:
        assert file.chapters()
        assert {stream.type for stream in file.streams} == {"video", "audio", "subtitle"}
    return prepare(told, HOUSE, library)


def made(cut: Cut, source: Prepared, library: Library) -> Path:
    return library.cut(phone_cut(cut, source.digest, HOUSE, library, has_sound=source.sound))


@pytest.mark.parametrize("kind", KINDS)
def test_no_kind_of_cut_carries_anything_of_its_source(kind: str, source: Prepared, library: Library) -> None:
    cut = KINDS[kind]
    path = made(cut, source, library)
    with av.open(str(path)) as file:
        tracks = {stream.type: stream for stream in file.streams}
        assert set(tracks) == ({"video"} if cut.heard is None else {"video", "audio"})
        assert not file.chapters()
        allowed = {"major_brand", "minor_version", "compatible_brands", "encoder"}
        assert set(file.metadata) <= allowed
        for stream in tracks.values():
            assert set(stream.metadata) <= {"language", "handler_name", "vendor_id", "encoder"}
            assert stream.metadata.get("language", "und") == "und"
    data = path.read_bytes()
    told = (b"flag", b"offside", b"filmed", b"plain", b"told", b"goes up", source.digest.encode(), b"+10.0")
    assert [word for word in told if word in data] == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_shows_its_frames_and_the_last_is_held(kind: str, source: Prepared, library: Library) -> None:
    cut = KINDS[kind]
    pictures = video.seen(made(cut, source, library), 640, 360)
    hidden = STAMP.span if cut.blurs else Span(first=0, end=0)
    shown = [None if hidden.holds(frame) else frame for frame in range(cut.span.first, cut.span.end)]
    assert [video.read_stamp(picture) for picture in pictures] == shown + [shown[-1]] * cut.hold


def level(sound: np.ndarray, first: float, end: float) -> float:
    """How loud a stretch is, from 0 to 1."""
    part = sound[round(first * 48_000) : round(end * 48_000)]
    return float(np.sqrt(np.mean(part**2)))


@pytest.mark.parametrize("kind", ["heard", "heard and hidden"])
def test_it_is_heard_up_to_the_decisive_moment_and_silent_from_there_on(
    kind: str, source: Prepared, library: Library
) -> None:
    """Two seconds are heard; the beep of the recording at its third second lies after them."""
    sound = video.heard(made(KINDS[kind], source, library))
    assert level(sound, 0.1, 1.9) > 0.01
    assert level(sound, 2.05, KINDS[kind].frames / 30 - 0.05) < 1e-4
    beeps = video.beeps(sound)
    assert [round(at, 1) for at in beeps] == [0.3, 1.3]  # at seconds 1 and 2 of the recording; the cut begins at 2/3


def test_a_cut_of_a_recording_without_sound_is_as_the_others_of_its_topic(
    tmp_path: Path, source: Prepared, library: Library
) -> None:
    mute = prepare(video.filmed(tmp_path / "mute.mp4", Film(FRAMES, "30", (640, 360), sounds=())), HOUSE, library)
    tracks = []
    for each in (mute, source):
        with av.open(str(made(KINDS["heard"], each, library))) as file:
            audio = file.streams.audio[0]
            tracks.append((audio.codec.name, audio.rate, audio.channels, audio.frames, len(file.streams)))
    assert tracks[0] == tracks[1]
    assert level(video.heard(made(KINDS["heard"], mute, library)), 0, 3) < 1e-6


def test_around_what_is_hidden_the_picture_is_as_it_was(source: Prepared, library: Library) -> None:
    clear = video.seen(made(replace(KINDS["hidden"], blurs=()), source, library), 640, 360)
    hidden = video.seen(made(KINDS["hidden"], source, library), 640, 360)
    for n, (one, other) in enumerate(zip(clear, hidden, strict=True)):
        assert _apart(one[40:], other[40:]) < 3, n
        assert (_apart(one[:36], other[:36]) > 30) == (40 <= n < 70), n


def _apart(one: Picture, other: Picture) -> float:
    return float(np.abs(one.astype(float) - other.astype(float)).mean())


def test_seven_seconds_are_at_most_400_kb_however_much_moves(tmp_path: Path, library: Library) -> None:
    """Grain in every picture costs most: it is squeezed or made smaller, and the stamp can still be read."""
    for strength in (10, 60):
        film = Film(FRAMES, "30", (640, 360), sounds=(), store=functools.partial(_grainy, strength))
        noisy = prepare(video.filmed(tmp_path / f"noisy-{strength}.mp4", film), HOUSE, library)
        path = made(Cut("noisy", Span(first=10, end=190), 45, heard=150), noisy, library)
        assert path.stat().st_size <= MOST
        with av.open(str(path)) as file:
            size = (file.streams.video[0].width, file.streams.video[0].height)
        assert size in {(640, 360), (480, 270)}
        stamps = [video.read_stamp(picture) for picture in video.seen(path, *size)]
        assert stamps == [*range(10, 190), *[189] * 45]


def _grainy(strength: int, picture: Picture) -> Picture:
    chance = np.random.default_rng(int(picture[:40].sum()))
    grain = chance.normal(0, strength, picture.shape[:2])[..., None]
    return np.clip(picture + grain, 0, 255).astype(np.uint8)
