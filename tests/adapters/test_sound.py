"""The sound of a tape: cut by sample, levelled and limited, silent where it must be, encoded once."""

from __future__ import annotations

import wave
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from app.adapters import child, ffmpeg, loudness, pcm
from app.adapters.files import Library
from app.adapters.pcm import Placed, Range, fade
from app.adapters.sound import FAR, PACKET, by_itself, tape_sound
from app.adapters.stretches import stretches
from app.domain.errors import RenderFailed
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, Still, samples_at
from app.domain.timecode import Rate, Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE

DIGEST = "ab12"


def _run(first: int, end: int, digest: str = DIGEST, speed: str = "1") -> Shot:
    return Shot(digest, Span(first=first, end=end), Fraction(speed), sound=speed == "1")


def _recorded(library: Library, samples: NDArray[np.float64], digest: str = DIGEST) -> Library:
    """A recording's sound: `samples` from -1 to 1, the same on both channels."""
    path = library.sound(digest)
    path.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(np.repeat((samples * 32_767).astype("<i2")[:, None], 2, axis=1).tobytes())
    return library


def _hum(seconds: float, height: float) -> NDArray[np.float64]:
    return height * np.sin(2 * np.pi * 997 * np.arange(round(seconds * 48_000)) / 48_000)


def test_runs_without_a_cut_between_them_are_one_stretch() -> None:
    pieces: list[Piece] = [
        Card("Title", "", "Foot", 10),
        _run(5, 20),
        _run(20, 30),
        _run(31, 40),
        _run(40, 44, speed="1/2"),
        _run(44, 50),
        Still(DIGEST, 50, 7),
        _run(50, 60),
    ]
    found = stretches(tapes.planned(pieces))
    places = [(bed.range.first, each.on_tape.first, each.on_tape.end) for each in found for bed in each.beds]
    assert [tuple(sample // 1600 for sample in place) for place in places] == [
        (5, 10, 35),
        (31, 35, 44),
        (44, 52, 58),
        (50, 65, 75),
    ]


def test_the_same_frames_from_another_recording_are_a_cut() -> None:
    assert len(stretches(tapes.planned([_run(5, 20), _run(20, 30, digest="cd34")]))) == 2


@pytest.mark.parametrize(
    ("lufs", "gain"), [(-16, 0), (-20, 4), (-40, 12), (-5, -11), (-1, -12), (-70, 0), (-69.9, 12)], ids=str
)
def test_gain_brings_a_stretch_to_the_target_within_twelve_decibels(lufs: float, gain: float) -> None:
    assert loudness.gain_db(lufs) == pytest.approx(gain)


def test_a_fade_takes_five_milliseconds_at_both_ends_in_whatever_blocks_it_is_made() -> None:
    whole = fade(0, 1000, 1000)
    assert (whole[0], whole[120], whole[240], whole[759], whole[999]) == (0, 0.5, 1, 1, 0)
    assert np.array_equal(np.concatenate([fade(0, 300, 1000), fade(300, 700, 1000)]), whole)
    assert fade(0, 1, 1).tolist() == [0]
    assert fade(0, 101, 101).max() == pytest.approx(50 / 240)


@pytest.mark.parametrize("rate", ["30", "25", "30000/1001", "24000/1001"])
def test_the_stream_has_every_sample_of_the_tape_in_its_place(rate: str, tmp_path: Path) -> None:
    ramp = np.arange(48_000 * 3) / 200_000
    library = _recorded(Library(tmp_path), ramp)
    pieces: list[Piece] = [Card("Title", "", "Foot", 7), _run(11, 52), Still(DIGEST, 3, 5), _run(1, 20), _run(40, 50)]
    plan = replace(tapes.planned(pieces), house=House(width=320, height=180, rate=Rate.model_validate(rate)))
    placed = [Placed(bed.range, 0.0, bed.at) for stretch in stretches(plan) for bed in stretch.beds]
    made = list(pcm.track(placed, samples_at(plan.frames, plan.house.rate), library))
    assert max(map(len, made)) <= pcm.BLOCK
    whole = np.concatenate(made)
    assert len(whole) == samples_at(plan.frames, plan.house.rate)
    for frame, source in ((7, 11), (53, 1), (72, 40)):
        at = samples_at(frame, plan.house.rate) + 1000
        from_ = samples_at(source, plan.house.rate) + 1000
        assert whole[at] == pytest.approx(ramp[from_], abs=1e-4)
    assert not whole[: samples_at(7, plan.house.rate)].any()
    assert not whole[samples_at(48, plan.house.rate) : samples_at(53, plan.house.rate)].any()


def test_what_a_recording_lacks_at_its_end_is_silence(tmp_path: Path) -> None:
    library = _recorded(Library(tmp_path), _hum(1, 0.5))
    (made,) = pcm.levelled(Range(DIGEST, 47_000, 3000), 0.0, library)
    assert made.shape == (3000, 2)
    assert made[300:900].any()
    assert not made[1000:].any()


def test_what_lies_before_the_first_sample_is_left_off(tmp_path: Path) -> None:
    ramp = np.linspace(0.1, 0.9, 48_000)
    library = _recorded(Library(tmp_path), ramp)
    pieces = [Placed(Range(DIGEST, 1000, 300), 0.0, -400), Placed(Range(DIGEST, 1300, 2000), 0.0, -100)]
    whole = np.concatenate(list(pcm.track(pieces, 3000, library)))
    assert len(whole) == 3000
    assert whole[1000, 0] == pytest.approx(ramp[1300 + 1100], abs=1e-4)
    assert not whole[1900:].any()


@pytest.mark.media
def test_loudness_is_measured_once_for_a_range(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = _recorded(Library(tmp_path), np.concatenate([_hum(2, 0.1), _hum(2, 0.01), np.zeros(48_000)]))
    loud, quiet, none = (Range(DIGEST, at, 90_000) for at in (0, 97_000, 192_000))
    assert loudness.loudness(loud, library) == pytest.approx(-20, abs=0.5)
    assert loudness.loudness(quiet, library) == pytest.approx(-40, abs=0.5)
    assert loudness.loudness(replace(none, samples=40_000), library) == loudness.SILENT_LUFS
    monkeypatch.setattr(child, "run", lambda *_a, **_k: pytest.fail("measured again"))
    assert loudness.loudness(loud, library) == pytest.approx(-20, abs=0.5)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 40)), max_size=12), st.integers(0, 3))
def test_stretches_never_stand_on_one_another_and_are_near_their_place(
    runs: list[tuple[int, int]], before: int
) -> None:
    pieces: list[Piece] = [Card("Title", "", "Foot", before)] if before else []
    pieces += [_run(first, first + frames) for first, frames in runs]
    placed = stretches(tapes.planned(pieces))
    at, total = 0, samples_at(sum(piece.frames for piece in pieces), HOUSE.rate)
    for stretch in placed:
        first, slot, blocks = by_itself(stretch)
        if blocks:
            assert slot >= at
            assert 0 <= first - stretch.on_tape.first <= PACKET // 2
            assert abs(slot * PACKET - first) <= FAR
            assert stretch.on_tape.end - first - blocks * PACKET < 2 * PACKET
            at = slot + blocks + 1
    assert at <= -(-total // PACKET) + 1


@pytest.mark.media
@pytest.mark.parametrize("continuous", [False, True], ids=["by stretch", "continuous"])
def test_quiet_and_loud_recordings_come_out_alike_and_below_the_limit(continuous: bool, tmp_path: Path) -> None:
    hiss = np.random.default_rng(3).standard_normal(48_000 * 4)
    crowd = np.convolve(hiss, np.ones(24) / np.sqrt(24), "same").clip(-4, 4)
    library = _recorded(_recorded(Library(tmp_path), crowd / 20), crowd / 4.1, "cd34")
    plan = tapes.planned([_run(0, 120), _run(0, 120, digest="cd34")])
    sound = tape_sound(plan, library, continuous=continuous)
    assert len(sound.parts) == (1 if continuous else 2)
    for number, part in enumerate(sound.parts):
        assert _lufs(part.path, 4 * number if continuous else 0, 3.9) == pytest.approx(-16, abs=0.7)
        assert _true_peak(part.path) <= -1


@pytest.mark.media
def test_peaks_of_a_quiet_recording_are_limited(tmp_path: Path) -> None:
    hum = _hum(4, 0.02)
    hum[20_000::30_000] = 0.9
    hum[20_001::30_000] = -0.9
    (part,) = tape_sound(tapes.planned([_run(0, 120)]), _recorded(Library(tmp_path), hum)).parts
    assert _true_peak(part.path) <= -1


def _lufs(path: Path, first_s: float, seconds: float) -> float:
    return float(_measured(path, f"atrim={first_s}:{first_s + seconds},", "I"))


def _true_peak(path: Path) -> float:
    return float(20 * np.log10(max(float(_measured(path, "", f"true_peaks_ch{channel}")) for channel in (0, 1))))


def _measured(path: Path, before: str, key: str) -> str:
    meter = f"{before}ebur128=metadata=1:peak=true:framelog=quiet,ametadata=mode=print:file=-"
    told = video.ran([ffmpeg.program(), *ffmpeg.QUIET, "-i", str(path), "-af", meter, "-f", "null", "-"]).decode()
    return [line.partition("=")[2] for line in told.splitlines() if line.startswith(f"lavfi.r128.{key}=")][-1]


@pytest.mark.media
def test_a_tape_without_sound_is_silent(tmp_path: Path) -> None:
    sound = tape_sound(tapes.planned([Card("Title", "", "Foot", 45)]), Library(tmp_path))
    assert (sound.parts, sound.samples, sound.packets) == ((), 72_000, 72)
    assert not video.heard(sound.silence).any()


@pytest.mark.media
def test_an_edit_elsewhere_moves_a_stretch_without_encoding_it_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library = _recorded(Library(tmp_path), _hum(2, 0.1))
    (before,) = tape_sound(tapes.planned([Card("Title", "", "Foot", 3), _run(3, 50)]), library).parts
    monkeypatch.setattr(child, "run", lambda *_a, **_k: pytest.fail("encoded again"))
    (after,) = tape_sound(tapes.planned([Card("Title", "", "Foot", 10), _run(3, 50)]), library).parts
    assert (before.path, before.packets) == (after.path, after.packets)
    assert (before.slot, after.slot) == (round(4800 / 1024), round(16_000 / 1024))


@pytest.mark.media
def test_a_stretch_sounds_as_it_was_recorded(tmp_path: Path) -> None:
    library = _recorded(Library(tmp_path), _hum(2, 0.15))
    (part,) = tape_sound(tapes.planned([_run(10, 50)]), library).parts
    heard = video.heard(part.path)[1000 : (part.packets - 1) * PACKET - 1000]
    gain = 10 ** (loudness.gain_db(loudness.loudness(Range(DIGEST, 16_000, 64_000), library)) / 20)
    due = gain * _hum(2, 0.15)[17_000 : 17_000 + len(heard)]
    assert np.abs(heard - due).max() < 0.01


@pytest.mark.media
def test_damaged_sound_in_the_cache_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = _recorded(Library(tmp_path), _hum(2, 0.1))
    plan = tapes.planned([_run(3, 50)])
    (part,) = tape_sound(plan, library).parts
    whole = part.path.read_bytes()
    part.path.write_bytes(whole[:-50])
    assert tape_sound(plan, library).parts == (part,)
    assert part.path.read_bytes() == whole
    monkeypatch.setattr(child, "run", lambda *_a, **_k: pytest.fail("made again"))
    assert tape_sound(plan, library).parts == (part,)


@pytest.mark.media
@pytest.mark.parametrize("harm", ["lost", "cut short", "empty", "no sound"])
def test_a_damaged_recording_is_told(harm: str, tmp_path: Path) -> None:
    library = _recorded(Library(tmp_path), _hum(2, 0.1))
    path = library.sound(DIGEST)
    match harm:
        case "lost":
            path.unlink()
        case "cut short":
            path.write_bytes(path.read_bytes()[:5000])
        case "empty":
            path.write_bytes(b"")
        case "no sound":
            path.write_bytes(b"These are words.")
    with pytest.raises(RenderFailed, match="prepare it again"):
        tape_sound(tapes.planned([_run(3, 50)]), library)
