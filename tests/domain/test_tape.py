"""The plan of a tape: pieces, captions, chapters, digests."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import BadInput
from app.domain.lesson import Blur, Box, Lesson
from app.domain.recording import House, Prepared
from app.domain.tape import (
    CUE_LENGTH,
    SAMPLE_RATE,
    Card,
    Chapter,
    Cue,
    Half,
    Plan,
    Shot,
    SideBySide,
    Spoken,
    Still,
    Voice,
    Window,
    cues_of,
    frames_to_hear,
    frames_to_read,
    plan,
    samples_at,
    segment_digest,
    voices_of,
)
from app.domain.timecode import Rate, Span
from tests.domain.samples import curriculum

HOUSE = House(width=320, height=180, rate=Rate(num=30))
LEAGUE = curriculum()


def prepared(frames: int = 300, *, sound: bool = True) -> dict[str, Prepared]:
    return {name: Prepared(digest=name, house=HOUSE, frames=frames, sound=sound) for name in ("line", "high")}


def planned(frames: int = 300, *, sound: bool = True) -> Plan:
    return plan(LEAGUE.lessons[0], LEAGUE.clip_by_id(), prepared(frames, sound=sound), HOUSE)


def test_steps_become_pieces_in_order() -> None:
    assert planned().pieces == (
        Card("Two instants", "", "Offside 1", 90),
        Shot("line", Span(first=30, end=210), Fraction(1), sound=True),
        Shot("line", Span(first=80, end=100), Fraction(1, 4), sound=False),
        Still("high", 150, 60),
    )
    assert planned().frames == 90 + 180 + 80 + 60


def test_pieces_lie_end_to_end_on_the_tape() -> None:
    ends = [0]
    for span, piece in planned().placed():
        assert span.first == ends[-1]
        assert span.frames == piece.frames
        ends.append(span.end)
    assert ends[-1] == planned().frames


def test_chapters_begin_at_titles_and_where_a_step_names_one() -> None:
    assert planned().chapters == (Chapter(0, "Two instants"), Chapter(350, "Then"))


def test_a_tape_that_opens_with_a_run_has_the_lesson_as_its_first_chapter() -> None:
    lesson = LEAGUE.lessons[0].model_copy(update={"steps": LEAGUE.lessons[0].steps[1:]})
    made = plan(lesson, LEAGUE.clip_by_id(), prepared(), HOUSE)
    assert made.chapters == (Chapter(0, "Two instants"), Chapter(260, "Then"))


def test_the_poster_is_the_middle_of_the_first_still() -> None:
    assert planned().poster == 90 + 180 + 80 + 30


def test_a_recording_without_sound_gives_a_silent_shot() -> None:
    assert not any(piece.sound for piece in planned(sound=False).pieces if isinstance(piece, Shot))


def test_frames_beyond_the_end_of_a_recording_name_the_step() -> None:
    with pytest.raises(BadInput, match=r'"two-instants", step 2: the recording "line" has 200 frames, frame 209'):
        planned(frames=200)


def test_captions_stand_over_their_steps() -> None:
    assert planned().cues == (
        Cue(Span(first=0, end=90), "Look twice."),
        Cue(Span(first=90, end=270), "At full speed first."),
    )


WORDS = st.lists(st.sampled_from(["flag", "the", "second-last", "Look.", "level", "No?", "x" * 100]), max_size=80)


@given(WORDS, st.integers(0, 5000), st.integers(1, 900))
def test_captions_keep_every_word_fill_the_step_and_stay_short(words: list[str], first: int, frames: int) -> None:
    span = Span(first=first, end=first + frames)
    cues = cues_of(" ".join(words), span)
    if cues:
        assert (cues[0].span.first, cues[-1].span.end) == (span.first, span.end)
    for one, two in itertools.pairwise(cues):
        assert one.span.end == two.span.first
        assert one.span.frames > 0
    assert " ".join(cue.text for cue in cues).split() == words
    if frames >= len(words):
        assert all(len(cue.text) <= CUE_LENGTH or " " not in cue.text for cue in cues)


@given(
    st.sampled_from(["30", "25", "30000/1001", "60000/1001", "24000/1001"]).map(Rate.model_validate),
    st.integers(0, 10_000_000),
)
def test_sound_never_drifts_from_the_picture(rate: Rate, frame: int) -> None:
    assert abs(Fraction(samples_at(frame, rate), SAMPLE_RATE) - rate.seconds(frame)) <= Fraction(1, 2 * SAMPLE_RATE)


def test_a_digest_names_all_that_decides_the_bytes_and_nothing_else() -> None:
    shot = Shot("line", Span(first=0, end=30), Fraction(1), sound=True)
    others = [
        segment_digest(Shot("high", shot.span, shot.speed, sound=True), HOUSE, "e1"),
        segment_digest(Shot("line", Span(first=0, end=31), shot.speed, sound=True), HOUSE, "e1"),
        segment_digest(Shot("line", shot.span, Fraction(1, 2), sound=True), HOUSE, "e1"),
        segment_digest(shot, HOUSE.model_copy(update={"width": 640}), "e1"),
        segment_digest(shot, HOUSE, "e2"),
        segment_digest(Still("line", 0, 30), HOUSE, "e1"),
    ]
    assert len({segment_digest(shot, HOUSE, "e1"), *others}) == 7
    assert segment_digest(shot, HOUSE, "e1") == segment_digest(shot, HOUSE, "e1")
    boxed = replace(shot, blurs=(Blur(BOX, Span(first=3, end=9)),))
    enlarged = replace(shot, window=Window(BOX, BOX))
    moved = replace(shot, window=Window(BOX, BOX.model_copy(update={"left": 2})))
    asked = Still("line", 0, 30, words="Flag?")
    assert len({segment_digest(each, HOUSE, "e1") for each in (shot, boxed, enlarged, moved, asked)}) == 5


BOX = Box(left=0, top=0, width=160, height=90)
STEP: dict[str, Any] = {"kind": "run", "clip": "offside-01", "from": 90, "to": 120}


def of(*steps: dict[str, Any], **voices: Voice) -> Plan:
    """The plan of a lesson with these steps."""
    head = {"id": "one", "series": "Offside", "number": 1, "title": "One"}
    return plan(Lesson.model_validate({**head, "steps": steps}), LEAGUE.clip_by_id(), prepared(), HOUSE, voices)


def test_a_step_of_several_pieces_is_one_step() -> None:
    asked = {"kind": "question", "clip": "offside-01", "question": "Flag?", "from": 90, "to": 130, "note": "Look."}
    made = of({**STEP, "kind": "loop", "times": 3, "chapter": "Again"}, {**asked, "chapter": "And now"})
    run = Shot("line", Span(first=90, end=120), Fraction(1), sound=True)
    assert made.pieces == (
        *(run, run, run),
        Shot("line", Span(first=90, end=101), Fraction(1), sound=True),
        Still("line", 100, 150, words="Flag?"),
        Shot("line", Span(first=101, end=130), Fraction(1), sound=True),
    )
    assert made.steps == (1, 1, 1, 2, 2, 2)
    assert made.chapters == (Chapter(0, "Again"), Chapter(90, "And now"))
    assert made.cues == (Cue(Span(first=90, end=90 + 190), "Look.", top=True),)
    assert made.poster == 90 + 11 + 75


def test_look_alikes_wait_for_each_other() -> None:
    left, right = {"clip": "offside-01", "from": 80}, {"clip": "offside-02", "from": 90, "to": 105}
    (piece,) = of({"kind": "look-alikes", "left": left, "right": right, "speed": "1/2"}).pieces
    halves = Half("line", Span(first=80, end=210), 0, ""), Half("line", Span(first=90, end=105), 10, "")
    assert piece == SideBySide(*halves, Fraction(1, 2), 260)
    assert isinstance(piece, SideBySide)
    assert [piece.source_frames(slot) for slot in (0, 19, 21, 40, 41, 48, 49, 50, 259)] == [
        (80, 90), (89, 90), (90, 90), (100, 100), (100, 100), (104, 104), (104, 104), (105, 104), (209, 104),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("step", "last"),
    [(STEP, Still("line", 119, 60)), ({**STEP, "speed": "2/3"}, Still("line", 119, 45))],
    ids=["full speed", "slow"],
)
def test_a_note_that_takes_longer_to_read_holds_the_last_frame(step: dict[str, Any], last: Still) -> None:
    note = "Forty-five characters are read in three secs."
    made = of({**step, "note": note})
    assert made.pieces[1:] == (last,)
    assert made.frames == 90
    assert made.cues == (Cue(Span(first=0, end=90), note),)
    held = f"{last.frames / 30:.1f} s"
    assert made.notes == (f"Step 1 is {held} shorter than its note; its last frame is held so much longer.",)


def test_what_is_held_longer_looks_as_it_did_last() -> None:
    box, to = {"left": 0, "top": 0, "width": 320, "height": 180}, {"left": 0, "top": 0, "width": 160, "height": 90}
    small = [{**to, "to": 100}, {**to, "left": 2, "from": 100}]
    gliding = {"zoom": {**box, "moves_to": to}, "masks": small, "note": "x" * 60}
    run, still = of({**STEP, **gliding}).pieces
    assert isinstance(run, Shot)
    assert still == Still("line", 119, 90, Window(BOX, BOX), (BOX.model_copy(update={"left": 2}),))
    freeze = {"kind": "freeze", "clip": "offside-01", "frames": 30, **gliding}
    first, second = of(freeze).pieces
    assert first.frames == 30
    assert second == replace(still, frame=100)


def test_what_stands_anyway_stands_longer() -> None:
    side, note = {"clip": "offside-01", "from": 90, "to": 110}, {"note": "x" * 60}
    freeze, title = {"kind": "freeze", "clip": "offside-01", "frames": 30}, {"kind": "title", "title": "Title"}
    for step in (freeze, title, {"kind": "look-alikes", "left": side, "right": side}):
        assert [piece.frames for piece in of({**step, **note}).pieces] == [120]


def test_a_voice_lengthens_its_step_and_times_its_captions() -> None:
    made = of({**STEP, "voice": "a.wav", "note": "x" * 90}, {**STEP, "voice": "b.wav"}, **{
        "a.wav": Voice("aa", 96_000), "b.wav": Voice("bb", 12_000)
    })  # fmt: skip
    first = frames_to_hear(Voice("aa", 96_000), HOUSE.rate)
    assert first == 62
    assert made.pieces[1] == Still("line", 119, 32)
    spans = Span(first=0, end=62), Span(first=62, end=92)
    assert made.spoken == (Spoken(Voice("aa", 96_000), spans[0]), Spoken(Voice("bb", 12_000), spans[1]))
    assert made.cues == (Cue(Span(first=0, end=60), "x" * 90),)
    assert made.notes == ("Step 1 is 1.1 s shorter than its voice; its last frame is held so much longer.",)


def test_a_voice_that_is_not_there_names_its_step() -> None:
    with pytest.raises(BadInput, match=r'lesson "one", step 1: there is no voice note "a.wav"'):
        of({**STEP, "voice": "a.wav"})


def test_the_voices_of_a_lesson_are_found_where_they_are_named_first() -> None:
    steps = [STEP, {**STEP, "voice": "b.wav"}, {**STEP, "voice": "a.wav"}, {**STEP, "voice": "b.wav"}]
    head = {"id": "one", "series": "Offside", "number": 1, "title": "One"}
    found = voices_of(Lesson.model_validate({**head, "steps": steps}))
    assert found == {"a.wav": ("lessons", "one", "steps", 2), "b.wav": ("lessons", "one", "steps", 1)}


@given(st.text(max_size=300), st.sampled_from(["30", "25", "30000/1001"]).map(Rate.model_validate))
def test_a_note_is_given_the_time_that_readers_need(note: str, rate: Rate) -> None:
    frames = frames_to_read(note, rate)
    assert rate.seconds(frames) * 15 >= len(note.strip()) > rate.seconds(frames - 1) * 15 or frames == 0


@given(st.lists(st.tuples(st.integers(0, 90), st.integers(1, 40)), max_size=4), st.integers(0, 60), st.integers(1, 60))
def test_a_stretch_keeps_of_its_blurs_what_lies_in_it(blurs: list[tuple[int, int]], first: int, frames: int) -> None:
    made = tuple(Blur(BOX, Span(first=at, end=at + length)) for at, length in blurs)
    span = Span(first=first, end=first + frames)
    kept = Shot("line", Span(first=0, end=200), Fraction(1), False, None, made).blurred(span)
    hidden = {frame for blur in made for frame in range(blur.span.first, blur.span.end)}
    assert {frame for blur in kept for frame in range(blur.span.first, blur.span.end)} == hidden & set(
        range(first, span.end)
    )
