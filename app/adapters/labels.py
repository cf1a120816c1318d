"""Words that stand with a picture: a question on a band of paper at its foot, a label under each of two look-alikes.

In the look of the cards, and like them in sizes of a 1280x720 picture.
"""

from __future__ import annotations

import io

from PIL import Image

from app.adapters.paper import (
    EDGE,
    MARGIN,
    RULE,
    TEXT,
    Setting,
    colour,
    double_rule,
    draw_words,
    fitted,
    mark_picture,
    scaled,
)
from app.adapters.paper import unit_of as unit
from app.domain.lesson import Box
from app.domain.recording import House

QUESTION_SIZES = (52, 46, 40, 36, 32)
LABEL_SIZES = (40, 36, 32)
BAND_HEIGHT = 180
"""The tallest that the band of a question gets: the longest question has three lines, a short one two large ones."""
BESIDE, BETWEEN, ABOVE = 40, 24, 150
"""Paper beside the pictures of look-alikes, between them, and over them where words stand under them."""


def with_question(image: bytes, words: str, house: House) -> bytes:
    """A picture of house size (any format that Pillow reads) with a question on a band at its foot, as a PPM."""
    scale = unit(house)
    with Image.open(io.BytesIO(image)) as opened:
        picture = opened.convert("RGB")
    left, setting = round((EDGE + MARGIN) * scale), question_setting(words, house)
    top = house.height - setting.height - round(46 * scale)
    picture.paste(colour("paper"), (0, top, house.width, house.height))
    double_rule(picture, 0, house.width, top, scale)
    words_top = top + round(24 * scale)
    mark = mark_picture(round(52 * scale))
    picture.paste(mark, (round(EDGE * scale), words_top + round(setting.size * 0.2)), mark)
    draw_words(picture, setting, left, words_top, colour("ink"))
    data = io.BytesIO()
    picture.save(data, "PPM")
    return data.getvalue()


def question_setting(words: str, house: House) -> Setting:
    """A question broken into lines, as large as its band allows."""
    scale = unit(house)
    width = house.width - round((EDGE + MARGIN) * scale) - round(EDGE * scale)
    return fitted(words, RULE, scaled(QUESTION_SIZES, scale), width, round((BAND_HEIGHT - 46) * scale))


def places(house: House, *, labelled: bool = True) -> tuple[Box, Box]:
    """Where two look-alikes stand: side by side, each in the shape of the house.

    With words under one of them a little above the middle, else in it.
    """
    scale = unit(house)
    beside, between = _even(BESIDE * scale), _even(BETWEEN * scale)
    width = _even((house.width - 2 * beside - between) / 2)
    height = _even(width * house.height / house.width)
    middle = (house.height - height) / 2
    top = _even(min(ABOVE * scale, middle) if labelled else middle)
    left, right = (Box(left=x, top=top, width=width, height=height) for x in (beside, beside + width + between))
    return left, right


def _even(length: float) -> int:
    return max(2, int(length) // 2 * 2)


def pair_paper(left: str, right: str, house: House) -> bytes:
    """Paper of house size with two holes for look-alikes, and their labels under them: RGBA, row by row."""
    scale = unit(house)
    paper = Image.new("RGBA", (house.width, house.height), (*colour("paper"), 255))
    for box, words in zip(places(house, labelled=bool(left or right)), (left, right), strict=True):
        foot = box.top + box.height
        paper.paste((0, 0, 0, 0), (box.left, box.top, box.left + box.width, foot))
        setting = fitted(words, TEXT, scaled(LABEL_SIZES, scale), box.width, house.height - foot - round(40 * scale))
        draw_words(paper, setting, box.left, foot + round(20 * scale), colour("ink"))
    return paper.tobytes()
