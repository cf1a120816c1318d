"""A card as a picture: paper and ink, set in the product's two faces, with the pennon hanging in the margin.

Sizes are those of a 1280x720 picture; other sizes scale them, so that a card looks the same in every house.
Colours come from `static/css/tokens.css`, the mark from `static/mark.svg`: there is one copy of each.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path

import numpy as np
from PIL import Image, ImageColor, ImageDraw, ImageFont

from app.domain.errors import Unready
from app.domain.recording import House
from app.domain.tape import Card

STATIC = Path(__file__).resolve().parents[2] / "static"
EDGE = 80
"""From the left and right edge of the picture to the margin column and the end of the lines."""
MARGIN = 92
"""The margin column: the mark hangs here, words start after it."""
TITLE_SIZES = (92, 80, 70, 60, 52, 46)
SUBTITLE_SIZES = (40, 36, 32)
FINE = 4
"""The mark is drawn this much larger and scaled down, because Pillow's polygons have hard edges."""

Colour = tuple[int, ...]


@dataclass(frozen=True)
class Face:
    """One of the two faces at a weight. `leading`: distance of lines as a share of the size."""

    folder: str
    weight: int
    leading: float


RULE = Face("besley", 600, 1.16)
TEXT = Face("atkinson-hyperlegible-next", 400, 1.36)


@dataclass(frozen=True)
class Setting:
    """Words broken into lines at a size in pixels."""

    face: Face
    size: int
    lines: tuple[str, ...]

    @property
    def leading(self) -> int:
        """Pixels from line to line."""
        return round(self.size * self.face.leading)

    @property
    def height(self) -> int:
        """Pixels from the top of the first line to the foot of the last."""
        return self.leading * len(self.lines)


def card_picture(card: Card, house: House) -> Image.Image:
    """The card as an RGB picture of the house's size. Raises Unready when a face or the mark is missing."""
    unit = unit_of(house)
    picture = Image.new("RGB", (house.width, house.height), colour("paper"))
    left, right = round((EDGE + MARGIN) * unit), house.width - round(EDGE * unit)
    foot = house.height - round(92 * unit)
    title = fitted(card.title, RULE, scaled(TITLE_SIZES, unit), right - left, round(300 * unit))
    subtitle = fitted(card.subtitle, TEXT, scaled(SUBTITLE_SIZES, unit), right - left, round(175 * unit))
    _draw_foot(picture, card.foot, foot, unit)
    top = _top(title, subtitle, foot, unit)
    draw_mark(picture, round(EDGE * unit), top, title, unit)
    draw_words(picture, title, left, top, colour("ink"))
    rule = top + title.height + round(22 * unit)
    double_rule(picture, left, right, rule, unit)
    draw_words(picture, subtitle, left, rule + round(28 * unit), colour("quiet"))
    return picture


def card_image(card: Card, house: House) -> bytes:
    """The card as the bytes of a PPM picture."""
    data = io.BytesIO()
    card_picture(card, house).save(data, "PPM")
    return data.getvalue()


def unit_of(house: House) -> float:
    """Pixels of the house for one of a 1280x720 picture."""
    return min(house.width / 1280, house.height / 720)


def scaled(sizes: tuple[int, ...], unit: float) -> tuple[int, ...]:
    """Sizes of words in pixels of the house, never too small to be letters."""
    return tuple(max(8, round(size * unit)) for size in sizes)


def _top(title: Setting, subtitle: Setting, foot: int, unit: float) -> int:
    """Where the words start, so that the double rule lies a little above the middle and nothing meets the foot."""
    below = round(50 * unit) + subtitle.height
    wished = round(0.557 * foot) - title.height
    return max(round(64 * unit), min(wished, foot - round(24 * unit) - below - title.height))


def fitted(words: str, face: Face, sizes: tuple[int, ...], width: int, height: int) -> Setting:
    """Words set as large as fits into width x height pixels; past the smallest size they end in an ellipsis."""
    size = sizes[-1]
    for size in sizes:
        setting = Setting(face, size, _broken(words, face, size, width))
        if setting.height <= height and all(line_width(line, face, size) <= width for line in setting.lines):
            return setting
    lines = _broken(words, face, size, width)[: max(1, height // round(size * face.leading))]
    return Setting(face, size, (*lines[:-1], _shortened(lines[-1] + " …", face, size, width)))


def _shortened(line: str, face: Face, size: int, width: int) -> str:
    while line_width(line, face, size) > width and len(line) > 2:
        line = line[:-2].rstrip() + "…"
    return line


def _broken(words: str, face: Face, size: int, width: int) -> tuple[str, ...]:
    """Lines no wider than `width` (one long word excepted), as few as possible and about equally long."""
    lines = _greedy(words, face, size, width)
    narrow = width
    while len(lines) > 1 and narrow > width // 2:
        narrow -= max(4, width // 40)
        closer = _greedy(words, face, size, narrow)
        if len(closer) > len(lines) or any(line_width(line, face, size) > narrow for line in closer):
            break
        lines = closer
    return tuple(lines)


def _greedy(words: str, face: Face, size: int, width: int) -> list[str]:
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and line_width(longer, face, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def line_width(line: str, face: Face, size: int) -> float:
    """Pixels that a line of words takes."""
    return sum(font.getlength(run) for font, run in _runs(line, face, size))


def _runs(line: str, face: Face, size: int) -> Iterator[tuple[ImageFont.FreeTypeFont, str]]:
    """The line in stretches of one font file each: the faces are kept as a latin and a latin-ext part."""
    for subset, letters in groupby(line, _subset):
        yield _font(face, subset, size), "".join(letters)


def _subset(letter: str) -> str:
    """The part of a face that holds a letter, as `static/css/fonts.css` divides them (dashes and quotes: latin)."""
    code = ord(letter)
    extended = 0x100 <= code < 0x2000 and code not in (0x131, 0x152, 0x153, 0x2C6, 0x2DA, 0x2DC)
    return "latin-ext" if extended else "latin"


@cache
def _font(face: Face, subset: str, size: int) -> ImageFont.FreeTypeFont:
    path = STATIC / "fonts" / face.folder / f"{subset}-normal.woff2"
    try:
        font = ImageFont.truetype(path, size)
    except OSError as error:
        raise Unready(f"The face {face.folder} is missing from static/fonts; install Pennon again.") from error
    font.set_variation_by_axes([face.weight])
    return font


@cache
def colour(name: str) -> Colour:
    """A colour of the light look as red, green, blue (0 to 255). Raises Unready when there is no such token."""
    found = re.search(rf"--{name}:\s*(#[0-9a-f]{{6}})", _static_text("css/tokens.css"))
    if found is None:
        raise Unready(f"static/css/tokens.css has no colour {name}; install Pennon again.")
    return ImageColor.getrgb(found[1])


def _static_text(name: str) -> str:
    try:
        return (STATIC / name).read_text(encoding="utf-8")
    except OSError as error:
        raise Unready(f"static/{name} is missing; install Pennon again.") from error


def draw_words(picture: Image.Image, setting: Setting, left: int, top: int, ink: Colour) -> None:
    """Words on a picture, the first line's top left corner at `left`, `top`."""
    draw = ImageDraw.Draw(picture)
    for number, line in enumerate(setting.lines):
        baseline = top + number * setting.leading + round(setting.size * 0.93)
        across = float(left)
        for font, run in _runs(line, setting.face, setting.size):
            draw.text((across, baseline), run, font=font, fill=ink, anchor="ls")
            across += font.getlength(run)


def _draw_foot(picture: Image.Image, words: str, top: int, unit: float) -> None:
    """The foot: a hairline over the margin column and the words, then the series and number."""
    edge = round(EDGE * unit)
    _line(picture, edge, picture.width - edge, top, max(1, round(unit)), colour("hair"))
    left = round((EDGE + MARGIN) * unit)
    size = max(8, round(30 * unit))
    setting = fitted(words, TEXT, (size,), picture.width - edge - left, round(size * TEXT.leading))
    draw_words(picture, setting, left, top + round(15 * unit), colour("quiet"))


def double_rule(picture: Image.Image, left: int, right: int, top: int, unit: float) -> None:
    """The double rule that stands under what is to be decided."""
    thick, gap = max(1, round(2.5 * unit)), max(1, round(2 * unit))
    for line_top in (top, top + thick + gap):
        _line(picture, left, right, line_top, thick, colour("ink"))


def _line(picture: Image.Image, left: int, right: int, top: int, thick: int, ink: Colour) -> None:
    ImageDraw.Draw(picture).rectangle((left, top, right - 1, top + thick - 1), fill=ink)


def draw_mark(picture: Image.Image, left: int, top: int, title: Setting, unit: float) -> None:
    """The mark in the margin, its head level with the capitals of the first line."""
    height = round(68 * unit)
    mark = mark_picture(height)
    capital = top + round(title.size * 0.23)
    picture.paste(mark, (left, capital), mark)


@cache
def mark_picture(height: int) -> Image.Image:
    """The mark as an RGBA picture, cropped to its drawing, `height` pixels high."""
    staff, pennon = re.findall(r'\bd="([^"]+)"', _static_text("mark.svg"))
    scale = FINE * height / 24.4
    large = Image.new("RGBA", (round(26 * scale), round(24.4 * scale)), (*colour("paper"), 0))
    draw = ImageDraw.Draw(large)
    across, first, last = (float(number) for number in re.findall(r"[\d.]+", staff))
    draw.rounded_rectangle(
        [round(scale * each) for each in (0, 0, 2.4, last - first + 2.4)], radius=1.2 * scale, fill=colour("ink")
    )
    origin = np.array((across - 1.2, first - 1.2))
    outline = (_outline(pennon) - origin) * scale
    draw.polygon([(float(x), float(y)) for x, y in outline], fill=colour("accent"))
    return large.resize((round(26 * height / 24.4), height), Image.Resampling.BOX)


def _outline(path: str) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Points along an absolute path of cubic curves (`M x y C ...`), shape (points, 2)."""
    numbers = np.array([float(number) for number in re.findall(r"-?[\d.]+", path)]).reshape(-1, 2)
    share = np.linspace(0, 1, 24)[:, None]
    curves = []
    for first in range(0, len(numbers) - 3, 3):
        a, b, c, d = numbers[first : first + 4]
        rest = 1 - share
        curves.append(rest**3 * a + 3 * rest**2 * share * b + 3 * rest * share**2 * c + share**3 * d)
    return np.concatenate(curves)
