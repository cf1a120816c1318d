"""Voices: taken in from any usual file, laid over the game, which makes room for them, without a gap at the joins."""

from __future__ import annotations

import wave
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from app.adapters import child, ffmpeg, pcm
from app.adapters.files import Library
from app.adapters.pcm import Placed, Range
from app.adapters.sound import PACKET, tape_sound
from app.adapters.stretches import Sounded, Stretch, stretches
from app.adapters.voice import LONGEST_S, take_in
from app.domain.errors import BadInput
from app.domain.tape import Card, Piece, Plan, Shot, Spoken, Still, Voice, frames_to_hear
from app.domain.timecode import Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE

GAME, VOICE = "ab12", "cd34"


def _tone(seconds: float, hertz: int, height: float) -> NDArray[np.float64]:
    return height * np.sin(2 * np.pi * hertz * np.arange(round(seconds * 48_000)) / 48_000)


def _kept(library: Library, digest: str, samples: NDArray[np.float64]) -> Voice:
    path = library.sound(digest)
    path.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(np.repeat((samples * 32_767).astype("<i2")[:, None], 2, axis=1).tobytes())
    return Voice(digest, len(samples))


def _run(first: int, end: int, sound: bool = True) -> Shot:
    return Shot(GAME, Span(first=first, end=end), Fraction(1), sound)


def _spoken(pieces: list[Piece], voice: Voice, first: int, end: int) -> Plan:
    return replace(tapes.planned(pieces), spoken=(Spoken(voice, Span(first=first, end=end)),))


def test_a_voice_and_all_that_lies_under_it_are_one_stretch() -> None:
    pieces: list[Piece] = [_run(0, 10), _run(50, 60), Still(GAME, 60, 20), _run(61, 70), _run(0, 5), _run(5, 9)]
    voice = Voice(VOICE, 30 * 1600)
    found = stretches(_spoken(pieces, voice, 10, 49))
    heard = [
        (each.on_tape.first // 1600, each.on_tape.end // 1600, [bed.range.first // 1600 for bed in each.beds])
        for each in found
    ]
    assert heard == [(0, 10, [0]), (10, 49, [50, 61]), (49, 58, [0])]
    assert [each.voices for each in found] == [(), (Sounded(Range(VOICE, 0, 48_000), 16_000),), ()]


def test_a_run_that_goes_on_into_a_voice_is_not_cut_there() -> None:
    (one,) = stretches(_spoken([_run(0, 10), _run(10, 20)], Voice(VOICE, 3000), 10, 20))
    assert one == Stretch(
        Span(first=0, end=32_000),
        (Sounded(Range(GAME, 0, 32_000), 0),),
        (Sounded(Range(VOICE, 0, 3000), 16_000),),
    )


def test_a_voice_over_silent_pieces_is_heard() -> None:
    pieces: list[Piece] = [Card("Title", "", "Foot", 30), _run(0, 9, sound=False)]
    (one,) = stretches(_spoken(pieces, Voice(VOICE, 9000), 0, 30))
    assert (one.beds, one.on_tape) == ((), Span(first=0, end=48_000))


def test_ranges_are_laid_at_their_places_in_blocks_of_one_size(tmp_path: Path) -> None:
    library = Library(tmp_path)
    _kept(library, GAME, np.full(96_000, 0.5))
    placed = [Placed(Range(GAME, 0, 700), 0.0, 300), Placed(Range(GAME, 0, 90_000), 0.0, 1000)]
    made = list(pcm.track(placed, 100_000, library))
    assert [len(block) for block in made] == [pcm.BLOCK, pcm.BLOCK, 100_000 - 2 * pcm.BLOCK]
    whole = np.concatenate(made)[:, 0]
    assert not whole[:300].any()
    assert whole[600] == pytest.approx(0.5, abs=1e-3)
    assert whole[1000] == 0 < whole[2000]
    assert not whole[91_000:].any()
    assert sum(map(len, pcm.track(placed, 500, library))) == 500


def _heights(path: Path, hertz: int) -> NDArray[np.float64]:
    """How loud a tone is in each twentieth of a second of a file."""
    sound = video.heard(path)
    blocks = sound[: len(sound) // 2400 * 2400].reshape(-1, 2400)
    wave_form = np.exp(-2j * np.pi * hertz * np.arange(2400) / 48_000)
    heights: NDArray[np.float64] = np.abs(blocks @ wave_form) / 1200
    return heights


@pytest.mark.media
@pytest.mark.parametrize("continuous", [False, True], ids=["by stretch", "continuous"])
def test_the_game_is_ducked_while_the_voice_is_heard_and_comes_back(continuous: bool, tmp_path: Path) -> None:
    library = Library(tmp_path)
    _kept(library, GAME, _tone(6, 440, 0.2))
    quiet = np.concatenate([np.zeros(24_000), _tone(2, 1000, 0.1)])
    plan = _spoken([_run(0, 180)], _kept(library, VOICE, quiet), 0, 180)
    (part,) = tape_sound(plan, library, continuous=continuous).parts
    game, voice = _heights(part.path, 440), _heights(part.path, 1000)
    before, under, after = game[4:9].mean(), game[20:45].mean(), game[80:110].mean()
    assert 8 < 20 * np.log10(before / under) < 20
    assert after == pytest.approx(before, rel=0.1)
    assert voice[15:45].min() > 1.5 * under
    assert voice[60:].max() < 0.01


@pytest.mark.media
def test_a_voice_over_joins_has_no_gap_and_its_end_is_heard(tmp_path: Path) -> None:
    library = Library(tmp_path)
    _kept(library, GAME, np.zeros(48_000 * 6))
    voice = _kept(library, VOICE, _tone(2.5, 1000, 0.2))
    frames = frames_to_hear(voice, HOUSE.rate)
    pieces: list[Piece] = [_run(0, 30), _run(90, 120), Still(GAME, 120, frames - 60), _run(0, 30)]
    sound = tape_sound(_spoken(pieces, voice, 0, frames), library)
    assert (sound.parts[0].slot, sound.parts[0].packets * PACKET > voice.samples) == (0, True)
    heights = _heights(sound.parts[0].path, 1000)
    assert heights[1:49].min() > 0.9 * heights[1:49].max() > 0.1


@pytest.mark.media
@pytest.mark.parametrize("form", ["wav", "mp3", "ogg", "m4a", "webm"])
def test_a_voice_is_taken_in_from_every_usual_form(form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library, file = Library(tmp_path / "library"), tmp_path / f"take.{form}"
    tone = video.tone(tmp_path / "tone.wav", 1.5, rate=44_100, channels=1)
    video.ran(
        [ffmpeg.program(), *ffmpeg.QUIET, "-i", str(tone), *(["-c:a", "libopus"] if form == "webm" else []), str(file)]
    )
    voice = take_in(file, library)
    assert abs(voice.samples - 72_000) < 4000
    pcm.look_over(library.sound(voice.digest))
    monkeypatch.setattr(child, "run", lambda *_a, **_k: pytest.fail("read again"))
    assert take_in(file, library) == voice


@pytest.mark.media
@pytest.mark.parametrize("kind", ["words", "picture", "endless"])
def test_what_is_no_voice_is_refused_and_leaves_nothing(kind: str, tmp_path: Path) -> None:
    library, file = Library(tmp_path / "library"), tmp_path / "take.wav"
    match kind:
        case "words":
            file.write_bytes(b"These are words.")
        case "picture":
            video.filmed(tmp_path / "film.mp4", video.Film(frames=5, sounds=())).rename(file)
        case "endless":
            silence = ["-f", "lavfi", "-i", "anullsrc=r=8000:cl=mono", "-t", str(LONGEST_S + 5), str(file)]
            video.ran([ffmpeg.program(), *ffmpeg.QUIET, *silence])
    with pytest.raises(BadInput, match=r'"take\.wav" is no voice note'):
        take_in(file, library)
    assert [path for path in library.root.rglob("*") if path.is_file()] == []
