"""Pictures that are changed: enlarged, made unreadable, asked about, side by side. Every frame is the right one."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from app.adapters import child, cut, ffmpeg, labels
from app.adapters.boxes import picture_track
from app.adapters.conform import made_extradata
from app.adapters.paper import TEXT, _font, colour
from app.adapters.segments import segment
from app.domain.lesson import Blur, Box
from app.domain.recording import House
from app.domain.tape import Half, Piece, Shot, SideBySide, Still, Window
from app.domain.timecode import Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE, Shelf
from tests.adapters.video import Picture

pytestmark = pytest.mark.media

WHOLE = Box(left=0, top=0, width=320, height=180)
CORNER = Box(left=128, top=36, width=160, height=90)
PANEL = Box(left=0, top=0, width=320, height=18)
"""The stamp along the top edge: what is to be hidden in these tests."""


def _shot(shelf: Shelf, first: int, end: int, speed: str = "1") -> Shot:
    return Shot(shelf.digest("near"), Span(first=first, end=end), Fraction(speed), sound=False)


def _shown(piece: Piece, shelf: Shelf, out: Path) -> list[Picture]:
    tapes.joined([piece], shelf.library, out)
    return tapes.pictures_of(out)


def _source(shelf: Shelf) -> list[Picture]:
    return tapes.pictures_of(shelf.library.picture(shelf.digest("near")))


def _enlarged(picture: Picture, left: float, top: float, width: float, height: float) -> NDArray[np.float64]:
    """What must be seen, by another library's own sampling."""
    box = (left, top, left + width, top + height)
    large = Image.fromarray(picture).resize((320, 180), Image.Resampling.BICUBIC, box=box)
    return np.asarray(large, float)


def _away(picture: Picture, due: NDArray[np.float64]) -> float:
    inside = (slice(4, -4), slice(4, -4))
    return float(np.abs(picture[inside].astype(float) - due[inside]).mean())


def _nearest(picture: Picture, candidates: dict[int, NDArray[np.float64]]) -> int:
    return min(candidates, key=lambda frame: _away(picture, candidates[frame]))


@pytest.mark.parametrize("speed", ["1", "1/2"])
def test_a_zoom_fills_the_screen_with_its_box_on_every_frame(speed: str, shelf: Shelf, tmp_path: Path) -> None:
    piece = replace(_shot(shelf, 40, 52, speed), window=Window(CORNER, CORNER))
    shown, source = _shown(piece, shelf, tmp_path / "out.mp4"), _source(shelf)
    due = {frame: _enlarged(source[frame], 128, 36, 160, 90) for frame in range(36, 56)}
    assert [_nearest(picture, due) for picture in shown] == [piece.source_frame(slot) for slot in range(piece.frames)]
    assert max(_away(shown[slot], due[piece.source_frame(slot)]) for slot in range(piece.frames)) < 4


def test_a_zoom_glides_evenly_from_its_first_box_to_its_last(shelf: Shelf, tmp_path: Path) -> None:
    piece = replace(_shot(shelf, 40, 61), window=Window(WHOLE, CORNER))
    shown, source = _shown(piece, shelf, tmp_path / "out.mp4"), _source(shelf)
    assert len(shown) == 21
    for slot, share in ((2, 0.1), (5, 0.25), (10, 0.5), (20, 1.0)):
        box = (128 * share, 36 * share, 320 - 160 * share, 180 - 90 * share)
        due = {slot + by: _enlarged(source[40 + slot], box[0] + by, *box[1:]) for by in (-2, 0, 2)}
        assert _away(shown[slot], due[slot]) < 4
        assert _nearest(shown[slot], due) == slot


@pytest.mark.parametrize("moves", [False, True], ids=["still", "gliding"])
def test_a_freeze_is_enlarged_like_a_run(moves: bool, shelf: Shelf, tmp_path: Path) -> None:
    window = Window(WHOLE if moves else CORNER, CORNER)
    shown = _shown(Still(shelf.digest("near"), 45, 40, window), shelf, tmp_path / "out.mp4")
    due = {frame: _enlarged(_source(shelf)[frame], 128, 36, 160, 90) for frame in range(40, 50)}
    assert len(shown) == 40
    assert _nearest(shown[-1], due) == 45
    assert _away(shown[-1], due[45]) < 4
    assert (video.read_stamp(shown[0]) == 45) == moves


def test_only_the_step_that_is_enlarged_is_encoded(shelf: Shelf) -> None:
    recording = shelf.library.picture(shelf.digest("near"))
    plain, large = _shot(shelf, 30, 90), replace(_shot(shelf, 30, 90), window=Window(CORNER, CORNER))
    assert [part.path == recording for part in segment(plain, HOUSE, shelf.library).parts] == [True]
    assert [part.path == recording for part in segment(large, HOUSE, shelf.library).parts] == [False]


def _masked(shelf: Shelf, first: int, end: int, hidden: tuple[int, int], speed: str = "1") -> Shot:
    return replace(_shot(shelf, first, end, speed), blurs=(Blur(PANEL, Span(first=hidden[0], end=hidden[1])),))


@pytest.mark.parametrize("speed", ["1", "1/2", "2"])
def test_a_mask_hides_its_box_on_its_frames_and_on_no_other(speed: str, shelf: Shelf, tmp_path: Path) -> None:
    piece = _masked(shelf, 10, 130, (47, 66), speed)
    stamps = [video.read_stamp(picture) for picture in _shown(piece, shelf, tmp_path / "out.mp4")]
    frames = [piece.source_frame(slot) for slot in range(piece.frames)]
    assert stamps == [None if 47 <= frame < 66 else frame for frame in frames]


def test_only_groups_with_a_mask_are_encoded_again(shelf: Shelf) -> None:
    recording = shelf.library.picture(shelf.digest("near"))
    made = segment(_masked(shelf, 0, 180, (70, 95)), HOUSE, shelf.library)
    assert [(part.first, part.frames, part.path == recording) for part in made.parts] == [
        (0, 60, True),
        (0, 60, False),
        (120, 60, True),
    ]


def _panel(words: str, size: int, box: Box) -> Picture:
    """A picture with a dark panel, and white words on it as large as they go."""
    picture = Image.new("RGB", (320, 180), (70, 120, 60))
    picture.paste((20, 20, 40), (box.left, box.top, box.left + box.width, box.top + box.height))
    font, run = _font(TEXT, "latin", size), words
    canvas = Image.new("L", (320, 180), 0)
    mask = font.getmask(run)
    canvas.paste(255, (box.left + 6, box.top + 4, box.left + 6 + mask.size[0], box.top + 4 + mask.size[1]))
    glyphs = Image.frombytes("L", mask.size, bytes(mask))
    picture.paste((250, 250, 250), (box.left + 6, box.top + 4), glyphs)
    return np.asarray(picture)


def test_words_under_a_mask_cannot_be_told_from_other_words(tmp_path: Path) -> None:
    box = Box(left=20, top=20, width=120, height=40)
    shown: dict[str, list[NDArray[np.float64]]] = {}
    for words in ("3:0 21", "8:6 74"):
        file = tmp_path / f"{len(shown)}.mp4"
        raw = _panel(words, 34, box).tobytes()
        coded = ["-vf", f"scale=out_color_matrix=bt709:out_range=tv,{ffmpeg.filter_tail(HOUSE)}"]
        form = [*ffmpeg.house_video_options(HOUSE), *ffmpeg.mp4_options(HOUSE.rate), str(file)]
        video.ran(
            [ffmpeg.program(), *ffmpeg.QUIET, *ffmpeg.piped_input("rgb24", 320, 180, HOUSE.rate), *coded, *form], raw
        )
        plain, hidden = (cut.frame_image(file, 0, HOUSE, blurs=blurs) for blurs in ((), (box,)))
        shown[words] = [np.asarray(Image.open(io.BytesIO(image)), float)[20:60, 20:140] for image in (plain, hidden)]
    (one, one_hidden), (other, other_hidden) = shown.values()
    assert np.abs(one - other).max() > 150
    assert np.abs(one_hidden - other_hidden).max() < 40
    assert np.abs(np.diff(one_hidden, axis=1)).max() < 20


def test_a_mask_lies_on_a_freeze_and_under_a_zoom(shelf: Shelf, tmp_path: Path) -> None:
    digest = shelf.digest("near")
    masked = _shown(Still(digest, 45, 3, None, (PANEL,)), shelf, tmp_path / "a.mp4")
    assert [video.read_stamp(picture) for picture in masked] == [None] * 3
    half = Box(left=0, top=0, width=160, height=90)
    window = Window(half, half)
    plain, hidden = (
        _shown(Still(digest, 45, 1, window, blurs), shelf, tmp_path / "b.mp4")[0] for blurs in ((), (PANEL,))
    )
    assert plain[:30].std() > 2 * hidden[:30].std()
    assert np.abs(plain[60:].astype(int) - hidden[60:]).mean() < 3


def test_a_question_stands_on_the_picture_it_is_about(shelf: Shelf, tmp_path: Path) -> None:
    words = "Is he past the second-last opponent when the ball is touched?"
    plain, asked = (
        _shown(Still(shelf.digest("near"), 45, 70, words=each), shelf, tmp_path / "out.mp4") for each in ("", words)
    )
    assert len(asked) == 70
    for picture in (asked[0], asked[69]):
        band = np.abs(picture.astype(int) - np.array(colour("paper"))).max(axis=-1) < 14
        rows = 90 + np.flatnonzero(band[90:, 4] & band[90:, -4])
        assert 135 < rows[0] < 165
        assert rows[-1] == 179
        assert 0.02 < np.mean(picture[rows[0] :].max(axis=-1) < 110) < 0.4
        assert np.abs(picture[: rows[0] - 8].astype(int) - plain[0][: rows[0] - 8]).mean() < 3


def _pair(shelf: Shelf, speed: str, longer: int = 0) -> SideBySide:
    """`near` from 40 to 70 with its mark at 55, `far` from 10 to 50 with its mark at 20."""
    left = Half(shelf.digest("near"), Span(first=40, end=70), 0, "Level")
    right = Half(shelf.digest("far"), Span(first=10, end=50), 5, "Past him by a foot")
    return SideBySide(left, right, Fraction(speed), -int(-45 / Fraction(speed) // 1) + longer)


@pytest.mark.parametrize(("speed", "longer"), [("1", 0), ("1/2", 0), ("2/3", 7), ("2", 0)])
def test_look_alikes_stand_mark_beside_mark_and_wait_for_each_other(
    speed: str, longer: int, shelf: Shelf, tmp_path: Path
) -> None:
    piece = _pair(shelf, speed, longer)
    shown = _shown(piece, shelf, tmp_path / "out.mp4")
    left, right = labels.places(HOUSE)
    seen = [tuple(_stamp(picture, box) for box in (left, right)) for picture in shown]
    due = [piece.source_frames(slot) for slot in range(piece.frames)]
    assert seen == [(one, shelf.stamps["far"][other]) for one, other in due]
    assert 15 in [life for life in range(45) if (40 + life, 10 + life - 5) == (55, 20)]


def _stamp(picture: Picture, box: Box) -> int | None:
    part = Image.fromarray(picture[box.top : box.top + box.height, box.left : box.left + box.width])
    return video.read_stamp(np.asarray(part.resize((640, 360), Image.Resampling.BICUBIC)))


def test_look_alikes_lie_on_paper_with_their_labels_under_them(shelf: Shelf, tmp_path: Path) -> None:
    picture = _shown(_pair(shelf, "1"), shelf, tmp_path / "out.mp4")[20]
    away = np.abs(picture.astype(int) - np.array(colour("paper"))).max(axis=-1)
    for box in labels.places(HOUSE):
        under = away[box.top + box.height + 2 :, box.left : box.left + box.width]
        assert under.max() > 120
        assert away[: box.top - 4, box.left : box.left + box.width].max() < 16


def test_changed_pieces_have_the_header_of_all_and_are_made_once(shelf: Shelf) -> None:
    window, digest = Window(WHOLE, CORNER), shelf.digest("near")
    pieces: list[Piece] = [
        replace(_shot(shelf, 7, 20), window=window),
        _masked(shelf, 7, 70, (40, 50)),
        Still(digest, 9, 40, window, (PANEL,)),
        Still(digest, 9, 40, words="Flag?"),
        _pair(shelf, "1"),
    ]
    made = [segment(piece, HOUSE, shelf.library) for piece in pieces]
    assert {picture_track(part.path).extradata for each in made for part in each.parts} == {made_extradata(HOUSE)}
    again = [segment(piece, HOUSE, shelf.library) for piece in pieces]
    assert [each.made for each in (*made, *again)] == [True] * 5 + [False] * 5
    assert len({each.digest for each in made}) == 5


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (320, 180), (854, 480), (360, 640)], ids=str)
def test_look_alikes_have_room_in_every_house(size: tuple[int, int]) -> None:
    house = House(width=size[0], height=size[1])
    left, right = labels.places(house)
    assert (left.width, left.height, left.top) == (right.width, right.height, right.top)
    assert 0 < left.left < left.left + left.width < right.left < right.left + right.width < house.width
    assert left.top + left.height + 20 < house.height
    assert abs(left.width / left.height - house.width / house.height) < 0.05


def test_look_alikes_without_words_stand_in_the_middle(shelf: Shelf, tmp_path: Path) -> None:
    labelled = _pair(shelf, "1")
    bare = replace(labelled, left=replace(labelled.left, label=""), right=replace(labelled.right, label=""))
    picture = _shown(bare, shelf, tmp_path / "out.mp4")[20]
    for box in labels.places(HOUSE, labelled=False):
        assert abs(HOUSE.height - box.height - 2 * box.top) <= 2
        assert _stamp(picture, box) is not None
        rows = np.abs(picture[:, box.left : box.left + box.width].astype(int) - colour("paper")).max(axis=(1, 2)) > 40
        assert abs(np.flatnonzero(rows)[0] - box.top) <= 1
        assert abs(np.flatnonzero(rows)[-1] - box.top - box.height + 1) <= 1


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (320, 180), (854, 480), (360, 640)], ids=str)
def test_the_longest_question_is_asked_to_its_end(size: tuple[int, int]) -> None:
    words = "When the ball is played, is the forward nearer the goal line than both the ball and the second-last "
    words += "opponent, counting heads, bodies and feet, but never an arm?"
    setting = labels.question_setting(words, House(width=size[0], height=size[1]))
    assert len(words) == 160
    assert " ".join(setting.lines) == words
    assert len(setting.lines) <= 3


def test_no_words_of_an_author_reach_a_command(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    run = child.run

    def noted(command: list[str], **options: Any) -> child.Finished:
        told.extend(command)
        return run(command, **options)

    monkeypatch.setattr(child, "run", noted)
    piece = _pair(shelf, "1")
    odd = replace(piece, left=replace(piece.left, label="it's [50:50], n=1;x"))
    assert segment(odd, HOUSE, shelf.library).frames == 45
    assert any("hstack" in word for word in told)
    assert not [word for word in told if "50:50" in word or "it's" in word]
