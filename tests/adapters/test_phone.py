"""Phone cuts: small and legible, silent from the decisive moment on, and nothing of the source is in them.

Every kind is probed: with sound and without, with something hidden, held at its end, squeezed and made smaller.
"""

from __future__ import annotations

import functools
import shutil
import struct
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from app.adapters import ffmpeg
from app.adapters.files import Library
from app.adapters.phone import MOST, phone_cut
from app.adapters.prepare import prepare
from app.domain.guard import Cut
from app.domain.recording import Blur, Box, House, Prepared
from app.domain.timecode import Rate, Span
from tests.accept.phone_cuts import SAMPLES, SMALL_HOUSE, cuts_of
from tests.adapters import video
from tests.adapters.video import Film, Picture

pytestmark = pytest.mark.media

RATE = Rate(num=30)
HOUSE = House(width=640, height=360, rate=RATE)
FRAMES = 240
TELLTALE = (
    "title=offside-flag", "comment=no flag here", "artist=who filmed it", "location=+10.0+20.0/",
    "creation_time=2026-09-12T15:04:05.000000Z", "encoding_tool=sideline-cam 3",
)  # fmt: skip
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
    """A recording with everything in it that could tell, and sound to its end."""
    sounds = (video.Sound(FRAMES / 30),)
    film = Film(frames=FRAMES, rate="30", size=(640, 360), sounds=sounds)
    plain = video.filmed(library.root / "plain.mp4", film)
    told = _told(plain, library.root)
    with av.open(str(told)) as file:
        assert [chapter["metadata"]["title"] for chapter in file.chapters()] == ["the flag goes up"]
        kinds = Counter(stream.type for stream in file.streams)
        assert kinds == {"audio": 1, "data": 3, "subtitle": 1, "video": 2}
        assert {"title", "comment", "artist", "creation_time", "location", "encoder"} <= set(file.metadata)
        assert any("timecode" in stream.metadata for stream in file.streams if stream.type == "data")
    return prepare(told, HOUSE, library)


def _told(plain: Path, folder: Path) -> Path:
    """The same with titles, a place, a day, chapters, subtitles, a track of data, a cover, and what made it."""
    chapters, words, cover, told = (folder / name for name in ("marks.txt", "words.srt", "cover.png", "told.mp4"))
    marks = [";FFMETADATA1", *TELLTALE, "[CHAPTER]", "TIMEBASE=1/1", "START=0", "END=4", "title=the flag goes up"]
    chapters.write_text("\n".join(marks) + "\n")
    words.write_text("1\n00:00:00,000 --> 00:00:04,000\nThe flag goes up\n")
    Image.new("RGB", (64, 36), "red").save(cover)
    inputs = [option for each in (plain, chapters, words, cover) for option in ("-i", str(each))]
    maps = ["-map", "0", "-map", "2", "-map", "3", "-map_metadata", "1", "-map_chapters", "1", "-c", "copy"]
    kinds = ["-c:s", "mov_text", "-disposition:v:1", "attached_pic", "-timecode", "10:00:00:00"]
    named = ["-metadata:s:v:0", "handler_name=offside camera", "-metadata:s:a:0", "handler_name=whistle"]
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, *inputs, *maps, *kinds, *named, str(told)])
    return told


@pytest.fixture(scope="module")
def unclean(source: Prepared, library: Library) -> Prepared:
    """The same, as if preparing it had left all of that in it."""
    digest = "0" * 64
    library.picture(digest).parent.mkdir(parents=True, exist_ok=True)
    shutil.copy(library.root / "told.mp4", library.picture(digest))
    shutil.copy(library.sound(source.digest), library.sound(digest))
    return source.model_copy(update={"digest": digest})


def made(cut: Cut, source: Prepared, library: Library) -> Path:
    return library.cut(phone_cut(cut, source.digest, HOUSE, library, has_sound=source.sound))


@pytest.mark.parametrize("kind", KINDS)
def test_no_kind_of_cut_carries_anything_of_its_source(
    kind: str, source: Prepared, unclean: Prepared, library: Library
) -> None:
    for prepared in (source, unclean):
        carries_nothing(made(KINDS[kind], prepared, library), KINDS[kind], prepared)


def carries_nothing(path: Path, cut: Cut, source: Prepared) -> None:
    """No track but picture and sound, no name, no place, no day."""
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
    told = (
        b"flag", b"offside", b"filmed", b"plain", b"told", b"goes up", source.digest.encode(), b"10.0", b"gps", b"2026",
        b"sideline", b"camera", b"whistle", b"covr", b"PNG", b"tmcd", b"tx3g",
    )  # fmt: skip
    assert [word for word in told if word in data] == []


def test_the_headers_of_two_cuts_differ_in_nothing_but_their_pictures(
    tmp_path: Path, unclean: Prepared, library: Library
) -> None:
    """Of two recordings, at two places: the same boxes in the same order, and the same in all that could name them."""
    film = Film(frames=FRAMES, rate="30", size=(640, 360), sounds=(), first=700, mux=("-metadata", "title=no-flag"))
    other = prepare(video.filmed(tmp_path / "other.mkv", film), HOUSE, library)
    for kind in ("silent", "held", "heard"):
        cut = KINDS[kind]
        later = replace(cut, span=Span(first=cut.span.first + 90, end=cut.span.end + 90))
        one, two = (headers(made(each, prepared, library)) for each, prepared in ((cut, unclean), (later, other)))
        assert one == two
        assert {"ftyp", "moov/mvhd", "moov/trak/mdia/hdlr", "moov/trak/tkhd"} <= {name for name, _ in one}


SIZES = {"stts", "ctts", "stss", "stsc", "stsz", "stco", "mdat", "btrt", "stsd", "elst", "sgpd", "sbgp"}
"""Boxes that say where the pictures lie, how many bytes each has and how it is coded."""
HOLD_BOXES = {"moov", "trak", "mdia", "minf", "stbl", "edts", "dinf", "udta"}


def headers(path: Path) -> list[tuple[str, bytes]]:
    """Every box of a cut by its path, with what is in it, but for what depends on its pictures."""
    return list(_boxes(path.read_bytes(), ""))


def _boxes(data: bytes, within: str) -> Iterator[tuple[str, bytes]]:
    place = 0
    while place < len(data):
        size, kind = struct.unpack_from(">I4s", data, place)
        name, body = kind.decode("latin-1"), data[place + 8 : place + size]
        if name in HOLD_BOXES:
            yield within + name, b""
            yield from _boxes(body, f"{within}{name}/")
        else:
            yield within + name, b"" if name in SIZES else body
        place += size


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


@pytest.mark.parametrize("name", ["offside-03-line", "shot-touched-05-high"])
def test_the_sample_recordings_that_cost_most_are_small_and_clear(name: str, library: Library) -> None:
    """Of all recordings that ship, the first has the largest cut, the second the one least like its recording."""
    for cut in cuts_of(SAMPLES / f"{name}.mp4", SMALL_HOUSE, library):
        assert cut.size <= MOST
        assert (cut.width, cut.height) == (640, 360)
        assert cut.like > 0.98


def _grainy(strength: int, picture: Picture) -> Picture:
    chance = np.random.default_rng(int(picture[:40].sum()))
    grain = chance.normal(0, strength, picture.shape[:2])[..., None]
    return np.clip(picture + grain, 0, 255).astype(np.uint8)
