"""A received file becomes house picture and sound: every frame in its place, nothing left behind when it fails."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import wave
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from app.adapters import conform, ffmpeg, graph, prepare, probe
from app.adapters.files import Library
from app.domain.errors import RecordingRefused, RenderFailed
from app.domain.recording import House, Prepared
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import Film, Sound, filmed

HOUSE = House(width=320, height=180)
HOUSE_FILM = Film(
    frames=70,
    rate="30",
    filters=f"scale=out_color_matrix=bt709,{ffmpeg.filter_tail(HOUSE)}",
    video=ffmpeg.house_video_options(HOUSE, crf=33),
    mux=ffmpeg.mp4_options(HOUSE.rate),
)
NO_B_FRAMES = (*video.X264[:-1], "0", "-pix_fmt", "yuv420p")

pytestmark = pytest.mark.media


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def stamps_of(library: Library, prepared: Prepared, *, crop: tuple[int, int] | None = None) -> list[int | None]:
    house = prepared.house
    pictures = video.seen(library.picture(prepared.digest), house.width, house.height, crop=crop)
    return [video.read_stamp(picture) for picture in pictures]


@pytest.mark.parametrize("house_rate", ["30", "25", "30000/1001", "50", "60"])
@pytest.mark.parametrize("rate", ["25", "30", "60000/1001", "120"])
def test_each_house_frame_shows_the_picture_due_then(
    rate: str, house_rate: str, library: Library, tmp_path: Path
) -> None:
    house = House(width=160, height=90, rate=Rate.model_validate(house_rate))
    film = Film(frames=40, rate=rate, size=(160, 90), sounds=())
    prepared = prepare.prepare(filmed(tmp_path / "a.mkv", film), house, library)
    ratio = Fraction(rate) / house.rate.fraction
    stamps = stamps_of(library, prepared)
    assert len(stamps) == prepared.frames
    assert abs(prepared.frames - 40 / ratio) <= 1
    for k, stamp in enumerate(stamps):
        due = k * ratio + min(ratio, Fraction(1)) / 2  # the nearest, of fast ones the last one due
        assert stamp in {min(39, int(due - Fraction(2, 100))), min(39, int(due + Fraction(2, 100)))}


def test_a_file_at_the_house_rate_keeps_each_frame_once(library: Library, tmp_path: Path) -> None:
    prepared = prepare.prepare(filmed(tmp_path / "a.webm", Film(
        frames=75, rate="30", sounds=(), video=("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "600k"))),
        HOUSE, library)  # fmt: skip
    assert stamps_of(library, prepared) == list(range(75))


def test_a_late_sound_turned_picture_with_uneven_gaps_keeps_picture_and_sound_in_step(
    library: Library, tmp_path: Path
) -> None:
    chance = np.random.default_rng(5)
    times = np.round(np.cumsum([0, *chance.choice([1 / 30, 1 / 24, 1 / 60, 1 / 15], 69)]) * 90_000) / 90_000
    film = Film(
        frames=70,
        rate="30",
        size=(90, 160),
        sounds=(Sound(float(times[-1]) - 0.5, start=0.5),),
        video=NO_B_FRAMES,
        store=lambda picture: np.ascontiguousarray(np.rot90(picture)),
    )
    even = filmed(tmp_path / "even.mp4", film)
    path = video.turned(video.retimed(even, tmp_path / "uneven.mp4", list(times)), 0, 1, -1, 0, move=(90, 0))
    prepared = prepare.prepare(path, HOUSE, library)
    assert prepared.source is not None
    assert (prepared.source.width, prepared.source.height, prepared.source.rate) == (90, 160, None)
    for k, stamp in enumerate(stamps_of(library, prepared, crop=ffmpeg.fitted(90, 160, HOUSE))):
        assert stamp is not None
        earliest = np.searchsorted(times, (k - 1) / 30, side="right") - 1
        assert max(0, int(earliest)) <= stamp <= int(np.searchsorted(times, (k + 1) / 30, side="right")) - 1
    beeps = video.beeps(video.heard(library.sound(prepared.digest)))
    assert [round(beep, 2) for beep in beeps[-2:]] == [1.0, 2.0]
    assert prepared.notes == ("The sound starts 0.5 s after the picture.",)


@pytest.mark.parametrize("start", [-0.6, 0.0, 0.7])
@pytest.mark.parametrize("ending", ["mkv", "ts", "mp4"])
def test_sound_stays_with_the_picture_whichever_begins_first(
    start: float, ending: str, library: Library, tmp_path: Path
) -> None:
    late_picture = ("-itsoffset", "0.6") if start < 0 else ()
    path = filmed(tmp_path / f"a.{ending}", Film(sounds=(Sound(4.0, start=max(0.0, start)),), before=late_picture))
    prepared = prepare.prepare(path, HOUSE, library)
    sound = video.heard(library.sound(prepared.digest))
    assert len(sound) == prepared.frames * 1600
    begins = video.beeps(sound)
    pictures = video.seen(library.picture(prepared.digest), 320, 180)
    lit = [video.is_white(picture) for picture in pictures]
    whites = [k / 30 - (-0.4 if start < 0 else 0.0) for k in range(1, len(lit)) if lit[k] and not lit[k - 1]]
    assert len(whites) == 2
    for white in whites:
        assert min(abs(white - beep) for beep in begins) <= 0.02


def test_house_form_is_kept_exactly_and_carries_nothing_else(library: Library, tmp_path: Path) -> None:
    for rate in ("30", "25", "30000/1001", "60000/1001"):
        house = House(width=320, height=180, rate=Rate.model_validate(rate))
        path = filmed(
            tmp_path / "a.mp4", Film(frames=61, mux=("-metadata", "title=secret", "-metadata", "location=+1+1/"))
        )
        prepared = prepare.prepare(path, house, library)
        held = probe.contents(library.picture(prepared.digest))
        assert conform.departures(held, house) == ()
        assert held.picture.tick * ffmpeg.ticks_per_frame(house.rate) == 1 / house.rate.fraction
        assert b"secret" not in library.picture(prepared.digest).read_bytes()
        with wave.open(str(library.sound(prepared.digest))) as sound:
            assert (sound.getframerate(), sound.getnchannels(), sound.getsampwidth()) == (48_000, 2, 2)
            assert sound.getnframes() == round(house.rate.seconds(prepared.frames) * 48_000)
        with av.open(str(library.picture(prepared.digest))) as file:
            assert [stream.codec_context.name for stream in file.streams] == ["h264", "aac"]


def packets(path: Path) -> list[bytes]:
    with av.open(str(path)) as file:
        return [bytes(packet) for packet in file.demux(video=0) if packet.size]


def test_a_picture_in_house_form_is_taken_as_it_is_whatever_its_coarseness(library: Library, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", HOUSE_FILM)
    assert conform.departures(probe.contents(path), HOUSE) == ()
    prepared = prepare.prepare(path, HOUSE, library)
    assert packets(library.picture(prepared.digest)) == packets(path)
    assert len(video.heard(library.sound(prepared.digest))) == 70 * 1600
    damaged = prepare.prepare(video.damaged(path, 0.3, 900), HOUSE, library)
    assert packets(library.picture(damaged.digest)) != packets(path)
    assert any("cannot be read" in note or "damaged" in note for note in damaged.notes)


def recoded(*options: str) -> Film:
    return replace(HOUSE_FILM, video=(*ffmpeg.house_video_options(HOUSE), *options))


OTHERS = {
    "another size": replace(HOUSE_FILM, size=(320, 240)),
    "another rate": replace(HOUSE_FILM, rate="25", video=(*video.X264, *video.BT709), filters="format=yuv420p", mux=()),
    "longer groups": recoded("-g", "60"),
    "open groups": recoded("-x264-params", "stitchable=1:scenecut=0:open-gop=1:b-adapt=0"),
    "another entropy coder": recoded("-x264-params", "stitchable=1:scenecut=0:cabac=0"),
    "oblong pixels": recoded("-aspect", "4:3"),
    "another clock": replace(HOUSE_FILM, mux=("-video_track_timescale", "90000")),
    "no colour tags": replace(HOUSE_FILM, filters="scale=out_color_matrix=bt709,format=yuv420p,settb=1/30,setpts=N"),
}


@pytest.mark.parametrize("what", OTHERS)
def test_a_small_departure_from_house_form_is_noticed(what: str, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", OTHERS[what])
    assert conform.departures(probe.contents(path), HOUSE)


def test_preparing_again_costs_nothing_and_other_houses_do_not_mix(library: Library, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=20, sounds=()))
    first = prepare.prepare(path, HOUSE, library)
    written = library.picture(first.digest).stat().st_mtime_ns
    assert prepare.prepare(path, HOUSE, library) == first
    assert library.picture(first.digest).stat().st_mtime_ns == written
    other = prepare.prepare(path, House(width=160, height=90), library)
    assert other.digest != first.digest
    assert first.source == other.source


def test_progress_is_told_and_a_cancelled_preparation_leaves_nothing(library: Library, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=75))
    told: list[float] = []
    prepare.prepare(path, HOUSE, library, told.append)
    assert told == sorted(told)
    assert (told[0], told[-1]) == (0.0, 1.0)
    assert any(0 < share < 1 for share in told)

    def cancel(_share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        prepare.prepare(path, House(width=640, height=360), library, cancel)
    assert len([found for found in library.root.rglob("*") if found.is_file()]) == 3


@pytest.mark.parametrize("calls", [1, 2])
def test_a_preparation_can_be_cancelled_while_the_file_is_still_being_read(
    calls: int, library: Library, tmp_path: Path
) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=30))
    told: list[float] = []

    def cancel(share: float) -> None:
        told.append(share)
        if len(told) == calls:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        prepare.prepare(path, HOUSE, library, cancel)
    assert told == [0.0] * calls
    assert not [found for found in library.root.rglob("*") if found.is_file()]


def test_a_file_whose_pictures_cannot_be_read_is_refused_and_leaves_nothing(library: Library, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=30, sounds=()))
    data = bytearray(path.read_bytes())
    start = data.index(b"mdat") + 4
    end = data.index(b"moov") - 4
    data[start:end] = np.random.default_rng(1).bytes(end - start)
    path.write_bytes(data)
    with pytest.raises(RecordingRefused, match=r"cannot be read|can be read"):
        prepare.prepare(path, HOUSE, library)
    assert not [found for found in library.root.rglob("*") if found.is_file()]


def test_work_that_breaks_off_leaves_nothing(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=30))
    monkeypatch.setattr(graph, "house_picture", lambda *_: "nosuchfilter")
    with pytest.raises(RenderFailed, match="Preparing the recording failed"):
        prepare.prepare(path, HOUSE, library)
    assert not [found for found in library.root.rglob("*") if found.is_file()]


def test_killed_in_the_middle_nothing_half_done_is_seen_and_the_next_run_completes(
    library: Library, tmp_path: Path
) -> None:
    path = filmed(tmp_path / "a.mp4", Film(frames=400, rate="50", size=(640, 360), sounds=(Sound(8.0),)))
    house = House(width=1920, height=1080)
    worker = subprocess.Popen([sys.executable, "-c", PREPARE, str(path), str(library.root)])
    while not list(library.root.rglob("picture-*.part")) and worker.poll() is None:
        time.sleep(0.02)
    encoders = children_of(worker.pid)
    assert encoders
    os.kill(worker.pid, signal.SIGKILL)
    worker.wait()
    while any(running(pid) for pid in encoders):
        time.sleep(0.02)
    assert not [found for found in library.root.rglob("*") if found.is_file() and found.suffix != ".part"]
    prepared = prepare.prepare(path, house, library)
    assert prepared.frames == 240
    left = {found.suffix for found in library.root.rglob("*") if found.is_file()}
    assert left == {".json", ".mp4", ".wav"}


PREPARE = """
import sys
from pathlib import Path
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.recording import House
prepare(Path(sys.argv[1]), House(width=1920, height=1080), Library(Path(sys.argv[2])))
"""


def children_of(pid: int) -> list[int]:
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in ("Z", "X")
    except OSError:
        return False


def test_sound_that_cannot_be_read_does_not_keep_the_picture_out(library: Library, tmp_path: Path) -> None:
    path = filmed(tmp_path / "a.mov", Film(frames=30, audio=("-c:a", "pcm_s16le")))
    data = path.read_bytes()
    path.write_bytes(data.replace(b"sowt", b"zzzz"))
    prepared = prepare.prepare(path, HOUSE, library)
    assert not prepared.sound
    assert prepared.notes == ("The sound could not be read; the recording was prepared without it.",)
    assert not library.sound(prepared.digest).exists()
