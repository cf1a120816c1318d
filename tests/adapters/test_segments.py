"""Pieces in house form: every frame the right one, all of one header, made once and made again when damaged."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from app.adapters import cut, ffmpeg, segments
from app.adapters.boxes import Track, picture_track
from app.adapters.conform import made_extradata
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.adapters.segments import segment
from app.domain.errors import RenderFailed
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, Still
from app.domain.timecode import Rate, Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE, Shelf
from tests.adapters.video import Film

pytestmark = pytest.mark.media


def _shot(shelf: Shelf, first: int, end: int, speed: str = "1", name: str = "near") -> Shot:
    return Shot(shelf.digest(name), Span(first=first, end=end), Fraction(speed), sound=False)


@pytest.mark.parametrize(
    ("first", "end", "groups"),
    [(0, 30, (0, 30)), (1, 59, None), (1, 60, (30, 60)), (29, 131, (30, 120)), (120, 140, (120, 140)), (5, 6, None)],
    ids=str,
)
def test_whole_groups_inside_a_span_are_found(first: int, end: int, groups: tuple[int, int] | None) -> None:
    track = Track(frames=140, keys=(0, 30, 60, 90, 120), extradata=b"")
    found = cut.groups_inside(Span(first=first, end=end), track)
    assert (found[0].first, found[-1].end) == groups if groups else found == ()


def test_runs_at_full_speed_show_every_frame_once_however_they_lie_on_the_groups(shelf: Shelf, tmp_path: Path) -> None:
    ends = [(0, 200), (1, 2), (7, 29), (29, 31), (30, 90), (31, 91), (178, 200), (180, 200), (199, 200), (59, 60)]
    pieces = [_shot(shelf, first, end) for first, end in ends]
    tapes.joined(pieces, shelf.library, tmp_path / "out.mp4")
    assert tapes.stamps_of(tmp_path / "out.mp4") == [stamp for first, end in ends for stamp in range(first, end)]


def test_slow_and_fast_runs_show_the_frame_that_is_due_in_every_slot(shelf: Shelf, tmp_path: Path) -> None:
    speeds = ["1/2", "1/4", "2/3", "3/7", "1/16", "2", "5/2", "7/3", "8"]
    pieces = [_shot(shelf, 43 + i, 60 + 2 * i, speed) for i, speed in enumerate(speeds)]
    pieces += [_shot(shelf, 199, 200, "1/4"), _shot(shelf, 195, 200, "2"), _shot(shelf, 0, 1, "8")]
    tapes.joined(pieces, shelf.library, tmp_path / "out.mp4")
    due = [43 + i + int(slot * piece.speed) for i, piece in enumerate(pieces[:9]) for slot in range(piece.frames)]
    assert tapes.stamps_of(tmp_path / "out.mp4") == [*due, 199, 199, 199, 199, 195, 197, 199, 0]


def test_a_recording_of_another_rate_that_lies_on_its_side_is_cut_as_it_was_prepared(
    shelf: Shelf, tmp_path: Path
) -> None:
    pieces: list[Piece] = [_shot(shelf, 3, 70, name="far"), Still(shelf.digest("far"), 41, 5)]
    pieces.append(_shot(shelf, 11, 22, "1/2", name="far"))
    tapes.joined(pieces, shelf.library, tmp_path / "out.mp4")
    due = tapes.due(pieces, {shelf.digest("far"): shelf.stamps["far"]})
    assert None not in due
    assert tapes.stamps_of(tmp_path / "out.mp4") == due


def test_the_grid_is_exact_at_a_rate_that_is_no_whole_number(tmp_path: Path) -> None:
    rate = "30000/1001"
    house = House(width=320, height=180, rate=Rate.model_validate(rate))
    library = Library(tmp_path / "library")
    file = video.filmed(tmp_path / "film.mp4", Film(frames=70, rate=rate, sounds=()))
    digest = prepare(file, house, library).digest
    pieces: list[Piece] = [
        Card("Title", "", "Foot", 5),
        *(Shot(digest, Span(first=4, end=end), Fraction(speed), False) for end, speed in ((66, "1"), (9, "1/4"))),
        Still(digest, 33, 3),
    ]
    tapes.joined(pieces, library, tmp_path / "out.mp4", house)
    assert tapes.stamps_of(tmp_path / "out.mp4") == tapes.due(pieces, {digest: list(range(70))})


def test_whole_groups_are_copied_and_only_the_ends_encoded(shelf: Shelf) -> None:
    made = segment(_shot(shelf, 7, 131), HOUSE, shelf.library)
    recording = shelf.library.picture(shelf.digest("near"))
    assert [(part.first, part.frames, part.path == recording) for part in made.parts] == [
        (0, 23, False),
        (30, 90, True),
        (0, 11, False),
    ]


def test_a_recording_with_other_headers_is_encoded_whole(shelf: Shelf, tmp_path: Path) -> None:
    recording = shelf.library.picture(shelf.digest("near"))
    other = tmp_path / "other.mp4"
    recode = ["-i", str(recording), "-c:v", "libx264", "-preset", "veryfast", "-refs", "4", "-bf", "0", "-g", "30"]
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, *recode, str(other)])
    other.replace(recording)
    made = segment(_shot(shelf, 0, 60), HOUSE, shelf.library)
    assert [part.path == recording for part in made.parts] == [False]


def test_all_pieces_have_one_decoder_header(shelf: Shelf) -> None:
    pieces: list[Piece] = [
        Card("Title", "Subtitle", "Foot", 1),
        Still(shelf.digest("far"), 3, 95),
        _shot(shelf, 7, 131),
        _shot(shelf, 7, 9, "1/4"),
        _shot(shelf, 7, 99, "2"),
    ]
    paths = {part.path for piece in pieces for part in segment(piece, HOUSE, shelf.library).parts}
    assert len(paths) == 7
    assert {picture_track(path).extradata for path in paths} == {made_extradata(HOUSE)}


def test_a_piece_is_made_once(shelf: Shelf) -> None:
    piece = _shot(shelf, 7, 70)
    first, second = (segment(piece, HOUSE, shelf.library) for _ in range(2))
    assert (first.made, second.made) == (True, False)
    assert first.parts == second.parts


@pytest.mark.parametrize("harm", ["cut short", "one byte changed", "lost", "no record", "half a record"])
def test_what_is_damaged_in_the_cache_is_made_again(harm: str, shelf: Shelf) -> None:
    piece = _shot(shelf, 7, 20)
    made = segment(piece, HOUSE, shelf.library)
    file, record = made.parts[0].path, shelf.library.segment(made.digest, ".json")
    whole = file.read_bytes()
    match harm:
        case "cut short":
            file.write_bytes(whole[:-100])
        case "one byte changed":
            file.write_bytes(whole[:-100] + bytes([whole[-100] ^ 1]) + whole[-99:])
        case "lost":
            file.unlink()
        case "no record":
            record.unlink()
        case "half a record":
            record.write_bytes(record.read_bytes()[:-9])
    again = segment(piece, HOUSE, shelf.library)
    assert again.made
    assert again.mended == (harm not in ("lost", "no record"))  # these may have been removed to make room
    assert again.parts == made.parts
    assert file.read_bytes() == whole


def test_moving_one_end_of_a_run_encodes_only_that_end(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    before = segment(_shot(shelf, 7, 131), HOUSE, shelf.library)
    encoded: list[Span] = []
    encode = cut.encode_shot

    def noted(shot: Shot, recording: Path, house: House, target: Path) -> None:
        encoded.append(shot.span)
        encode(shot, recording, house, target)

    monkeypatch.setattr(cut, "encode_shot", noted)
    after = segment(_shot(shelf, 7, 140), HOUSE, shelf.library)
    assert after.made
    assert encoded == [Span(first=120, end=140)]
    assert after.parts[:2] == before.parts[:2]


def test_with_or_without_sound_the_picture_is_the_same(shelf: Shelf) -> None:
    silent = _shot(shelf, 7, 20)
    first, second = (segment(piece, HOUSE, shelf.library) for piece in (silent, replace(silent, sound=True)))
    assert (second.made, second.parts) == (False, first.parts)


def test_a_new_encoder_makes_new_pieces(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    before = segment(_shot(shelf, 7, 20), HOUSE, shelf.library)
    monkeypatch.setattr(segments, "RECIPE", "another")
    after = segment(_shot(shelf, 7, 20), HOUSE, shelf.library)
    assert after.made
    assert after.digest != before.digest


@pytest.mark.parametrize("kind", ["shot", "still", "card"])
def test_a_piece_that_grows_too_large_leaves_nothing(kind: str, shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    made_extradata(HOUSE)
    monkeypatch.setattr(cut, "_largest", lambda _frames, _house: 2000)
    digest = shelf.digest("near")
    pieces: dict[str, Piece] = {
        "shot": Shot(digest, Span(first=0, end=20), Fraction(1, 2), False),
        "still": Still(digest, 4, 9),
        "card": Card("Title", "Subtitle", "Foot", 30),
    }
    with pytest.raises(RenderFailed, match="larger than is allowed"):
        segment(pieces[kind], HOUSE, shelf.library)
    assert [path for path in shelf.library.root.rglob("*") if path.is_file() and "segments" in path.parts] == []


def test_a_piece_without_the_planned_frames_is_refused(shelf: Shelf) -> None:
    with pytest.raises(RenderFailed, match=r"\d+ frames, 20 were planned"):
        segment(_shot(shelf, 195, 205, "1/2"), HOUSE, shelf.library)


@pytest.mark.parametrize("size", [0, 7, 100, 3000])
def test_a_file_that_is_cut_short_has_no_track(size: int, shelf: Shelf, tmp_path: Path) -> None:
    part = tmp_path / "part.mp4"
    part.write_bytes(shelf.library.picture(shelf.digest("near")).read_bytes()[:size])
    with pytest.raises(ValueError, match=r"no whole MP4 file|no box|no picture track"):
        picture_track(part)
