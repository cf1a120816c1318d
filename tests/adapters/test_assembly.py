"""The joined tape: on its grid, with its chapters and captions, the same bytes every time, and all or nothing."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from app.adapters import assembly, ffmpeg
from app.adapters.assembly import Files, assemble, files_beside, join_job, milliseconds, two_lines, vtt
from app.adapters.segments import Part, Segment, segment
from app.adapters.sound import Sounding, TapeSound, tape_sound
from app.domain.errors import RenderFailed
from app.domain.tape import CUE_LENGTH, Card, Chapter, Cue, Piece, Plan, Shot, cues_of, samples_at
from app.domain.timecode import Rate, Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE, Shelf

RATES = [Rate.model_validate(rate) for rate in ("24000/1001", "25", "30000/1001", "30", "60000/1001", "60", "1001/7")]


@given(frame=st.integers(0, 2_000_000), rate=st.sampled_from(RATES))
def test_the_millisecond_at_which_a_frame_begins_shows_that_frame(frame: int, rate: Rate) -> None:
    shown = rate.frame_at(Fraction(milliseconds(frame, rate), 1000))
    assert shown == frame
    assert frame == 0 or rate.frame_at(Fraction(milliseconds(frame, rate) - 1, 1000)) == frame - 1


def test_captions_are_timed_to_the_millisecond_and_say_every_sign() -> None:
    cues = [Cue(Span(first=1, end=31), "Level is level."), Cue(Span(first=110_000, end=110_001), "a < b & b --> c")]
    assert vtt(cues, Rate(num=30)) == (
        "WEBVTT\n\n00:00:00.034 --> 00:00:01.034\nLevel is level.\n\n"
        "01:01:06.667 --> 01:01:06.700\na &lt; b &amp; b --&gt; c\n"
    )
    assert vtt([], Rate(num=30)) == "WEBVTT\n"


@given(st.text(alphabet="ab .", max_size=400))
def test_no_caption_has_more_than_two_lines_and_none_loses_a_word(note: str) -> None:
    for cue in cues_of(note, Span(first=0, end=900)):
        lines = two_lines(cue.text).split("\n")
        assert len(lines) <= 2
        assert " ".join(lines) == cue.text
        if max(map(len, cue.text.split())) < 10:
            assert max(map(len, lines)) <= CUE_LENGTH // 2 + 5


def test_captions_and_poster_stand_beside_the_tape() -> None:
    assert files_beside(Path("a.b/Lesson 4.mp4")) == Files(
        Path("a.b/Lesson 4.mp4"), Path("a.b/Lesson 4.vtt"), Path("a.b/Lesson 4.jpg")
    )


def _plan(shelf: Shelf) -> Plan:
    pieces: list[Piece] = [Card("Title", "", "Foot", 20), _shot(shelf, 25, 100), _shot(shelf, 3, 33, "1/2")]
    chapters = (Chapter(0, "Start"), Chapter(20, "Über & <so>"), Chapter(95, "Slow"))
    cues = (Cue(Span(first=20, end=95), "Watch the line."),)
    return replace(tapes.planned(pieces), title="The rebound that counts", cues=cues, chapters=chapters, poster=60)


def _shot(shelf: Shelf, first: int, end: int, speed: str = "1") -> Shot:
    return Shot(shelf.digest("near"), Span(first=first, end=end), Fraction(speed), speed == "1")


def _assembled(plan: Plan, shelf: Shelf, out: Path) -> list[Segment]:
    segments = [segment(piece, HOUSE, shelf.library) for piece in plan.pieces]
    assemble(plan, segments, tape_sound(plan, shelf.library), files_beside(out))
    return segments


@pytest.mark.media
def test_a_tape_has_its_frames_on_the_grid_its_sound_its_chapters_and_its_title(shelf: Shelf, tmp_path: Path) -> None:
    plan, out = _plan(shelf), tmp_path / "out.mp4"
    _assembled(plan, shelf, out)
    with av.open(str(out)) as tape:
        pictures, sounds = tape.streams.video[0], tape.streams.audio[0]
        assert pictures.time_base == Fraction(1, 15_360)
        assert [frame.pts for frame in tape.decode(pictures)] == [512 * number for number in range(plan.frames)]
        assert (pictures.start_time, sounds.start_time) == (0, 0)
        assert pictures.duration == 512 * plan.frames
        assert sounds.duration == samples_at(plan.frames, HOUSE.rate)
        assert (sounds.codec_context.name, sounds.rate, sounds.channels) == ("aac", 48_000, 2)
        assert [(chapter["start"], chapter["time_base"], chapter["metadata"]) for chapter in tape.chapters()] == [
            (512 * chapter.frame, Fraction(1, 15_360), {"title": chapter.title}) for chapter in plan.chapters
        ]
        brands = {"major_brand", "minor_version", "compatible_brands"}
        assert {name: value for name, value in tape.metadata.items() if name not in brands} == {"title": plan.title}
    assert len(video.heard(out)) == samples_at(plan.frames, HOUSE.rate)


@pytest.mark.media
def test_a_tape_plays_while_it_loads_and_comes_out_the_same_every_time(shelf: Shelf, tmp_path: Path) -> None:
    for name in ("a.mp4", "b.mp4"):
        _assembled(_plan(shelf), shelf, tmp_path / name)
    first = (tmp_path / "a.mp4").read_bytes()
    assert first.index(b"moov") < first.index(b"mdat")
    for suffix in (".mp4", ".vtt", ".jpg"):
        assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


@pytest.mark.media
def test_the_poster_is_the_frame_that_was_planned(shelf: Shelf, tmp_path: Path) -> None:
    _assembled(_plan(shelf), shelf, tmp_path / "out.mp4")
    with Image.open(tmp_path / "out.jpg") as poster:
        assert (poster.format, poster.size) == ("JPEG", (320, 180))
        assert video.read_stamp(np.asarray(poster)) == 25 + 60 - 20


def _fresh(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file())


@pytest.mark.media
def test_a_piece_of_another_encoder_is_refused_and_the_old_tape_stays(shelf: Shelf, tmp_path: Path) -> None:
    out = tmp_path / "out.mp4"
    plan = tapes.planned([_shot(shelf, 0, 60), _shot(shelf, 60, 90)])
    segments = _assembled(plan, shelf, out)
    before = out.read_bytes()
    other = tmp_path / "other.mp4"
    recode = ["-i", str(segments[1].parts[0].path), "-vf", "trim=end_frame=30", "-c:v", "libx264", "-refs", "5"]
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, *recode, *ffmpeg.mp4_options(HOUSE.rate), str(other)])
    strange = replace(segments[1], parts=(Part(other, 0, 30),))
    with pytest.raises(RenderFailed, match="another decoder header") as raised:
        assemble(plan, [segments[0], strange], tape_sound(plan, shelf.library), files_beside(out))
    assert raised.value.permanent
    assert out.read_bytes() == before
    assert _fresh(tmp_path) == ["other.mp4", "out.jpg", "out.mp4", "out.vtt"]


@pytest.mark.media
@pytest.mark.parametrize(("first", "frames"), [(5, 30), (30, 300)], ids=["no key", "too few"])
def test_parts_that_do_not_fit_are_refused(first: int, frames: int, shelf: Shelf, tmp_path: Path) -> None:
    plan = tapes.planned([_shot(shelf, 0, frames)])
    part = Part(shelf.library.picture(shelf.digest("near")), first, frames)
    with pytest.raises(RenderFailed, match="a piece"):
        assemble(plan, [Segment("x", (part,), True)], tape_sound(plan, shelf.library), files_beside(tmp_path / "o.mp4"))
    assert _fresh(tmp_path) == []


@pytest.mark.media
@pytest.mark.parametrize(("slot", "packets"), [(0, 400), (20, 10)], ids=["too few", "two at once"])
def test_sound_that_does_not_fit_is_refused(slot: int, packets: int, shelf: Shelf, tmp_path: Path) -> None:
    plan = tapes.planned([_shot(shelf, 0, 60)])
    segments = [segment(piece, HOUSE, shelf.library) for piece in plan.pieces]
    sound = tape_sound(plan, shelf.library)
    crowded = replace(sound, parts=(*sound.parts, Sounding(sound.parts[0].path, slot, packets)))
    with pytest.raises(RenderFailed, match=r"a sound has|two sounds stand"):
        assemble(plan, segments, replace(crowded, parts=crowded.parts[-1 - slot // 20 :]), files_beside(tmp_path / "o"))
    assert _fresh(tmp_path) == []


@pytest.mark.media
def test_a_tape_that_grows_larger_than_files_may_be_leaves_nothing(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(assembly, "_largest", lambda _inputs, _frames: 20_000)
    with pytest.raises(RenderFailed, match="larger than is allowed"):
        _assembled(_plan(shelf), shelf, tmp_path / "out.mp4")
    assert _fresh(tmp_path) == []


@pytest.mark.media
def test_the_job_names_parts_by_whole_frames(shelf: Shelf, tmp_path: Path) -> None:
    plan = tapes.planned([_shot(shelf, 30, 90)])
    sound = TapeSound((Sounding(tmp_path / "a.m4a", 7, 40),), tmp_path / "s.m4a", 96_000)
    job = join_job(plan, [segment(plan.pieces[0], HOUSE, shelf.library)], sound, tmp_path / "o.mp4")
    assert json.loads(json.dumps(job)) == job
    assert job["parts"] == [[str(shelf.library.picture(shelf.digest("near"))), 30, 60]]
    assert job["sounds"] == [[str(tmp_path / "a.m4a"), 7, 40]]
    assert (job["rate"], job["timescale"], job["samples"]) == ([30, 1], 15_360, 96_000)
