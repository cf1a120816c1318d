"""Cards and held frames: handsome, of exact length, and of the same colours as what stands beside them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from app.adapters import cut, paper
from app.adapters.paper import RULE, TEXT, card_picture, colour, fitted, line_width
from app.domain.errors import RenderFailed, Unready
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, Still
from app.domain.timecode import Span
from tests.adapters import tapes, video
from tests.adapters.tapes import HOUSE, Shelf
from tests.adapters.video import Picture

SHORT = Card("The rebound that counts", "Freeze the contact, not the receiving.", "Offside 4", 40)
LONG = Card("second-last " * 160, "and who should have helped " * 70, "Mechanics of the assistant referee " * 9, 40)


def _near(picture: Picture, name: str, slack: int = 12) -> NDArray[np.bool_]:
    """Which pixels have about a colour of the look."""
    furthest: NDArray[np.int_] = np.abs(picture.astype(int) - np.array(colour(name))).max(axis=-1)
    return furthest <= slack


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (320, 180), (640, 480), (360, 640)], ids=str)
@pytest.mark.parametrize("card", [SHORT, LONG], ids=["short", "long"])
def test_a_card_is_ink_on_paper_with_the_mark_as_its_only_colour(size: tuple[int, int], card: Card) -> None:
    picture = np.asarray(card_picture(card, House(width=size[0], height=size[1])))
    assert picture.shape == (size[1], size[0], 3)
    assert np.mean(_near(picture, "paper")) > 0.6
    assert np.any(_near(picture, "ink"))
    accent = np.argwhere(_near(picture, "accent"))
    assert len(accent)
    assert accent[:, 1].max() < (paper.EDGE + paper.MARGIN) * min(size[0] / 1280, size[1] / 720)


@pytest.mark.parametrize("size", [(1280, 720), (320, 180)], ids=str)
@pytest.mark.parametrize("card", [SHORT, LONG], ids=["short", "long"])
def test_words_stay_inside_the_edges_of_a_card(size: tuple[int, int], card: Card) -> None:
    picture = np.asarray(card_picture(card, House(width=size[0], height=size[1])))
    edge = int(paper.EDGE * size[0] / 1280) - 1
    blank = _near(picture, "paper", slack=0)
    assert blank[:, :edge].all()
    assert blank[:, -edge:].all()
    assert blank[: edge // 2].all()
    assert blank[-edge // 4 :].all()


def test_a_title_is_set_as_large_as_fits_in_lines_of_about_one_length() -> None:
    sizes = (90, 60, 30)
    assert fitted("Offside", RULE, sizes, 1000, 200).size == 90
    two = fitted("The rebound that counts", RULE, sizes, 700, 300)
    assert (two.size, two.lines) == (90, ("The rebound", "that counts"))
    longest = fitted("second-last " * 90, RULE, sizes, 700, 140)
    assert longest.size == 30
    assert longest.lines[-1].endswith("…")
    assert all(line_width(line, RULE, 30) <= 700 for line in longest.lines)
    assert longest.height <= 140


def test_one_word_without_end_is_cut_to_the_line() -> None:
    setting = fitted("w" * 300, TEXT, (40, 20), 500, 90)
    assert setting.lines[0].endswith("…")
    assert line_width(setting.lines[0], TEXT, 20) <= 500


@pytest.mark.parametrize("face", [RULE, TEXT], ids=["rule", "text"])
@pytest.mark.parametrize("letter", list("Łőčşœ’–éß"))
def test_every_latin_letter_has_a_shape(face: paper.Face, letter: str) -> None:
    ((font, run),) = paper._runs(letter, face, 40)
    assert bytes(font.getmask(run)) != bytes(font.getmask("\ue000"))


def test_a_missing_face_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(paper, "STATIC", tmp_path)
    with pytest.raises(Unready, match="install Pennon again"):
        line_width("Offside", paper.Face("besley", 500, 1.0), 41)


@pytest.mark.media
@pytest.mark.parametrize(("frames", "fade"), [(1, 0), (6, 0), (7, 1), (41, 8)])
def test_a_card_comes_out_of_the_paper_and_goes_back_in_its_exact_length(
    frames: int, fade: int, tmp_path: Path
) -> None:
    out = tmp_path / "card.mp4"
    cut.encode_card(replace(SHORT, frames=frames), HOUSE, out)
    shown = [picture.astype(int) for picture in tapes.pictures_of(out)]
    assert len(shown) == frames
    drawn = np.asarray(card_picture(SHORT, HOUSE)).astype(int)
    away = [float(np.abs(picture - drawn).mean()) for picture in shown]
    blank = float(np.abs(np.array(colour("paper")) - drawn).mean())
    assert max(away[fade : frames - fade]) < blank / 6
    if fade:
        assert away[0] == pytest.approx(blank, rel=0.1)
        assert away[:fade] == sorted(away[:fade], reverse=True)
        assert away[-fade:] == sorted(away[-fade:])
    if fade > 2:
        assert away[-1] > blank / 2


@pytest.mark.media
def test_a_card_has_the_colours_of_the_look(tmp_path: Path) -> None:
    cut.encode_card(SHORT, HOUSE, tmp_path / "card.mp4")
    held = tapes.pictures_of(tmp_path / "card.mp4")[20].astype(int)
    drawn = np.asarray(card_picture(SHORT, HOUSE)).astype(int)
    assert np.abs(held[:8, :8].mean(axis=(0, 1)) - np.array(colour("paper"))).max() <= 2
    assert np.abs((held - drawn).mean(axis=(0, 1))).max() < 1
    assert np.percentile(held.min(axis=-1), 0.1) < max(colour("ink")) + 12


@pytest.mark.media
def test_a_held_frame_does_not_differ_from_the_run_beside_it(shelf: Shelf, tmp_path: Path) -> None:
    digest = shelf.digest("near")
    pieces: list[Piece] = [Shot(digest, Span(first=30, end=60), Fraction(1), False), Still(digest, 59, 40)]
    tapes.joined(pieces, shelf.library, tmp_path / "out.mp4")
    pictures = [picture.astype(int) for picture in tapes.pictures_of(tmp_path / "out.mp4")]
    assert len(pictures) == 70
    for held in pictures[30:]:
        assert video.read_stamp(held) == 59
        assert np.abs((held - pictures[29]).mean(axis=(0, 1))).max() < 0.5
        assert np.abs(held - pictures[29]).mean() < 2


@pytest.mark.media
def test_a_frame_that_is_not_there_is_told(shelf: Shelf) -> None:
    recording = shelf.library.picture(shelf.digest("near"))
    with pytest.raises(RenderFailed, match="Frame 200"):
        cut.frame_image(recording, 200, HOUSE)
