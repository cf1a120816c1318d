"""The plan of a tape: pieces, captions, chapters, digests."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import BadInput
from app.domain.recording import House, Prepared
from app.domain.tape import (
    CUE_LENGTH,
    SAMPLE_RATE,
    Card,
    Chapter,
    Cue,
    Plan,
    Shot,
    Still,
    cues_of,
    plan,
    samples_at,
    segment_digest,
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
