"""A long picture that is made in parts is, frame by frame and sample by sample, what one run makes of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.adapters import conform, ffmpeg, parts, prepare, probe
from app.adapters.contents import Contents
from app.adapters.files import Library
from app.domain.errors import RenderFailed
from app.domain.recording import House, Prepared
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import BT709, X264, Film, Sound, filmed

pytestmark = pytest.mark.media

HOUSE = House(width=320, height=180)
GROUPS = ("-g", "40", "-pix_fmt", "yuv420p")
CODED = (*X264, *BT709, "-bf", "3", *GROUPS)
FILM = Film(frames=130, rate="30", video=CODED, sounds=(Sound(4.5),))
HEVC = ("-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "keyint=40:open-gop=0:log-level=none", *GROUPS[2:])
SHORT = 30
"""Frames of a part here, so that a film of seconds has several."""


@pytest.fixture(autouse=True)
def _short_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "LEAST_S", 1.0)
    monkeypatch.setattr(parts, "LENGTH", SHORT)


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filmed(tmp_path_factory.mktemp("film") / "a.mp4", FILM)


def in_one_run(path: Path, house: House, library: Library, monkeypatch: pytest.MonkeyPatch) -> Prepared:
    with monkeypatch.context() as one_run:
        one_run.setattr(parts, "LEAST_S", 1e9)
        return prepare.prepare(path, house, library)


def stamps_of(library: Library, prepared: Prepared) -> list[int | None]:
    house, source = prepared.house, prepared.source
    assert source is not None
    shape = ffmpeg.fitted(source.width, source.height, house)
    pictures = video.seen(library.picture(prepared.digest), house.width, house.height, crop=shape)
    return [video.read_stamp(picture) for picture in pictures]


def counted(monkeypatch: pytest.MonkeyPatch) -> list[parts.Part]:
    """The parts that are encoded from now on."""
    made: list[parts.Part] = []
    encode = parts._encode

    def noted(source: parts.Source, part: parts.Part, *rest: Any) -> None:
        made.append(part)
        encode(source, part, *rest)

    monkeypatch.setattr(parts, "_encode", noted)
    return made


def kept(library: Library) -> list[Path]:
    return sorted(library.root.glob("parts/*/*"))


def like(**other: Any) -> Film:
    return replace(FILM, **other)


def uneven(folder: Path) -> Path:
    """A film whose pictures come as they like, some of them late."""
    chance = np.random.default_rng(5)
    times = np.round(np.cumsum([0, *chance.choice([1 / 30, 1 / 24, 1 / 60, 1 / 15, 0.2], 129)]) * 90_000) / 90_000
    coded = (*X264[:-1], "0", *GROUPS)
    even = filmed(folder / "even.mp4", like(video=coded, sounds=(Sound(float(times[-1])),)))
    return video.retimed(even, folder / "uneven.mp4", list(times))


def turned(folder: Path) -> Path:
    stored = like(size=(90, 160), store=lambda picture: np.ascontiguousarray(np.rot90(picture)))
    return video.turned(filmed(folder / "a.mp4", stored), 0, 1, -1, 0, move=(90, 0))


KINDS = {
    "29.97": ("a.mp4", like(rate="30000/1001"), "30"),
    "120": ("a.mkv", like(rate="120", frames=500), "30"),
    "24 in ticks of a millisecond": ("a.mkv", like(rate="24", frames=110), "30"),
    "a house of 29.97": ("a.mp4", FILM, "30000/1001"),
    "begins after an hour": ("a.mkv", like(mux=("-output_ts_offset", "3600")), "30"),
    "picture late": ("a.mp4", like(before=("-itsoffset", "0.6"), sounds=(Sound(5.0),)), "30"),
    "sound late": ("a.mov", like(sounds=(Sound(4, start=0.7),)), "30"),
    "HEVC": ("a.mp4", like(video=HEVC), "30"),
}
BY_HAND = {"uneven": uneven, "turned": turned}


@pytest.mark.parametrize("kind", [*KINDS, *BY_HAND])
def test_it_comes_to_the_same_as_one_run(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    if kind in BY_HAND:
        path, rate = BY_HAND[kind](tmp_path), "30"
    else:
        name, film, rate = KINDS[kind]
        path = filmed(tmp_path / name, film)
    house = House(width=320, height=180, rate=Rate.model_validate(rate))
    one, other = Library(tmp_path / "one"), Library(tmp_path / "other")
    whole = in_one_run(path, house, one, monkeypatch)
    made = counted(monkeypatch)
    prepared = prepare.prepare(path, house, other)
    assert len(made) >= 3
    assert "in one run" not in caplog.text
    assert prepared == whole
    stamps = stamps_of(other, prepared)
    assert stamps == stamps_of(one, whole)
    assert None not in stamps
    if whole.sound:
        assert other.sound(prepared.digest).read_bytes() == one.sound(whole.digest).read_bytes()
    assert conform.departures(probe.contents(other.picture(prepared.digest)), house) == ()
    assert kept(other) == []


@pytest.mark.parametrize(
    ("name", "film"),
    [
        ("a.ts", FILM),
        ("a.webm", like(video=("-c:v", "libvpx", "-deadline", "realtime", "-b:v", "600k"), audio=("-c:a", "libopus"))),
        ("a.mp4", like(video=(*CODED, "-x264-params", "open-gop=1"))),
        ("a.mp4", like(video=(*CODED, "-flags", "+ildct+ilme"), filters="tinterlace=interleave_top,format=yuv420p")),
    ],
    ids=["packets alone", "another codec", "groups that lean on others", "interlaced"],
)
def test_what_its_packets_do_not_vouch_for_is_made_in_one_run(
    name: str, film: Film, library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = counted(monkeypatch)
    prepared = prepare.prepare(filmed(tmp_path / name, film), HOUSE, library)
    assert (made, kept(library)) == ([], [])
    assert prepared.frames > 90


def test_a_damaged_file_is_made_in_one_run(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = video.damaged(filmed(tmp_path / "a.mp4", FILM), 0.5, 900)
    whole = in_one_run(path, HOUSE, Library(tmp_path / "one"), monkeypatch)
    assert prepare.prepare(path, HOUSE, library) == whole
    assert kept(library) == []


def too_late(held: Contents, part: parts.Part) -> list[str]:
    return ["-copyts", "-ss", f"{float(held.picture.pts[part.needs] * held.picture.tick) + 1.4}"]


def test_parts_that_missed_pictures_are_not_believed_and_the_whole_is_made_in_one_run(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(parts, "_seek", lambda held, part: too_late(held, part) if part.needs else [])
    prepared = prepare.prepare(filmed(tmp_path / "a.mp4", FILM), HOUSE, library)
    assert "is prepared in one run" in caplog.text
    assert stamps_of(library, prepared) == list(range(130))
    assert kept(library) == []


def test_parts_that_do_not_meet_are_not_believed(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    path = filmed(tmp_path / "a.mp4", FILM)
    prove = parts._prove

    def worn(held: Contents, part: parts.Part, times: Path) -> None:
        prove(held, part, times)
        (looks,) = library.root.rglob("*.print.*.part")
        look = looks.read_bytes()
        looks.write_bytes(look[: len(look) // 2] * 2)  # as if the frame after its last looked like its first one

    monkeypatch.setattr(parts, "_prove", worn)
    prepared = prepare.prepare(path, HOUSE, library)
    assert "is prepared in one run" in caplog.text
    assert stamps_of(library, prepared) == list(range(130))


PART = parts.Part(first=30, end=60, needs=28, stop=64)


@pytest.mark.parametrize(
    ("seen", "tick", "is_believed"),
    [
        (range(28, 64), "1/30", True),
        (range(20, 64), "1/30", True),
        (range(29, 64), "1/30", False),
        (range(28, 63), "1/30", False),
        (range(28, 65), "1/30", False),
        ([*range(28, 40), *range(41, 64)], "1/30", False),
        ([*range(28, 40), 40, *range(40, 64)], "1/30", False),
        (range(28, 64), "1/60", False),
        ([], "1/30", False),
    ],
)
def test_a_part_is_believed_only_if_it_saw_each_picture_that_it_needs(
    seen: list[int], tick: str, is_believed: bool, film: Path, tmp_path: Path
) -> None:
    held = probe.contents(film)
    scale = int(held.picture.pts[1])
    assert held.picture.tick * scale == Fraction(1, 30)
    times = tmp_path / "times"
    times.write_text("".join(f"{n * scale} {Fraction(tick) / scale}\n" for n in seen))
    if is_believed:
        parts._prove(held, PART, times)
        return
    with pytest.raises(parts.Unsure):
        parts._prove(held, PART, times)


def test_work_that_broke_off_goes_on_with_the_part_that_it_was_at(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = filmed(tmp_path / "a.mp4", FILM)
    made = counted(monkeypatch)

    def stop(_share: float) -> None:
        if len(made) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        prepare.prepare(path, HOUSE, library, stop)
    before = {file: file.stat().st_mtime_ns for file in kept(library)}
    assert sorted(file.suffix for file in before) == [".mp4", ".mp4", ".print", ".print"]
    made.clear()
    told: list[float] = []
    seen: list[dict[Path, int]] = []

    def noted(share: float) -> None:
        told.append(share)
        seen.append({file: file.stat().st_mtime_ns for file in before if file.exists()})

    prepared = prepare.prepare(path, HOUSE, library, noted)
    assert [part.first for part in made] == [60, 90]
    assert all(there == before for there, share in zip(seen, told, strict=True) if share < 0.9)
    assert told == sorted(told)
    assert min(share for share in told if share) > 0.25
    assert stamps_of(library, prepared) == list(range(130))
    assert kept(library) == []


def test_a_short_picture_is_made_in_one_run(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "LEAST_S", 600)
    made = counted(monkeypatch)
    prepare.prepare(filmed(tmp_path / "a.mp4", FILM), HOUSE, library)
    assert made == []


def test_work_that_broke_off_while_it_was_joined_goes_on_there(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = filmed(tmp_path / "a.mp4", FILM)
    with monkeypatch.context() as broken:
        broken.setattr(prepare, "_join", _broken_off)
        with pytest.raises(ZeroDivisionError):
            prepare.prepare(path, HOUSE, library)
    assert [file.suffix for file in kept(library)] == [".mp4"]  # the whole picture, and no part of it twice
    made = counted(monkeypatch)
    prepared = prepare.prepare(path, HOUSE, library)
    assert made == []
    assert stamps_of(library, prepared) == list(range(130))
    assert kept(library) == []


def _broken_off(_work: object) -> None:
    raise ZeroDivisionError


def test_a_part_that_fails_is_no_verdict_on_the_whole(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: Any) -> None:
        raise RenderFailed("It cannot be.", permanent=True)

    monkeypatch.setattr(parts, "_encode", failing)
    prepared = prepare.prepare(filmed(tmp_path / "a.mp4", FILM), HOUSE, library)
    assert stamps_of(library, prepared) == list(range(130))


def test_a_part_that_was_ended_is_tried_again_later(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ended(*_: Any) -> None:
        raise RenderFailed("It was ended from outside.", permanent=False)

    monkeypatch.setattr(parts, "_encode", ended)
    with pytest.raises(RenderFailed, match="ended from outside"):
        prepare.prepare(filmed(tmp_path / "a.mp4", FILM), HOUSE, library)
