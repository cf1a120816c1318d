"""Filters that change what a picture shows: boxes made unreadable, a part enlarged, two pictures side by side.

Text only, so that every graph can be read in a test. `shown` is the one place where they are put in order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction

from app.domain.lesson import Blur, Box
from app.domain.recording import House
from app.domain.tape import Half, SideBySide, Window
from app.domain.timecode import Rate, Span

PATCHES = 6
RGB_TO_HOUSE = "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+full_chroma_int+bicubic"


def shown(blurs: Iterable[Blur], paced: str, window: Window | None, span: Span, frames: int) -> list[str]:
    """What is done to frames `span` of a recording, in order: made unreadable, paced, enlarged.

    What is drawn on the picture of the recording goes before the window, what is drawn on the screen after it.
    """
    hidden = [_blurred(number, blur, span) for number, blur in enumerate(blurs)]
    return [*hidden, *([paced] if paced else []), *([_enlarged(window, frames)] if window else [])]


def _blurred(number: int, blur: Blur, span: Span) -> str:
    """A box as a row or column of at most `PATCHES` soft patches: of letters and figures nothing is left but a shade.

    `number` keeps the names of its branches apart from those of other boxes.
    """
    box, (kept, taken, soft) = blur.box, (f"{name}{number}" for name in ("kept", "taken", "soft"))
    patch = max(min(box.width, box.height), max(box.width, box.height) / PATCHES)
    columns, rows = (math.ceil(side / patch) for side in (box.width, box.height))
    small = f"format=yuv444p,scale={columns}:{rows}:flags=area,scale={box.width}:{box.height},gblur={patch / 4:.1f}"
    hidden = f"between(n,{blur.span.first - span.first},{blur.span.end - 1 - span.first})"
    return (
        f"split[{kept}][{taken}];[{taken}]crop={box.width}:{box.height}:{box.left}:{box.top},{small},"
        f"format=yuv420p[{soft}];[{kept}][{soft}]overlay={box.left}:{box.top}:enable='{hidden}'"
    )


def _enlarged(window: Window, frames: int) -> str:
    """The part of the picture in a window at the size of the whole, sampled between pixels so that it glides evenly."""
    left, right, top, bottom = _edges(window, frames)
    corners = zip("0123", (left, right, left, right), (top, top, bottom, bottom), strict=True)
    places = ":".join(f"x{corner}='{x}':y{corner}='{y}'" for corner, x, y in corners)
    return f"perspective={places}:interpolation=cubic:sense=source:eval={'frame' if window.moves else 'init'}"


def _edges(window: Window, frames: int) -> tuple[str, str, str, str]:
    """Left, right, top and bottom as terms of the number of the frame (`on`, from 1).

    Half a pixel of the result and half a pixel of the source lie at different places: without that the picture would
    slide up and left as it grows.
    """
    share = f"(on-1)/{frames - 1}" if window.moves and frames > 1 else "0"

    def gliding(first: int, last: int) -> str:
        return f"({first}+{last - first}*{share})"

    width, height = gliding(window.first.width, window.last.width), gliding(window.first.height, window.last.height)
    left = f"{gliding(window.first.left, window.last.left)}+{width}/W/2-0.5"
    top = f"{gliding(window.first.top, window.last.top)}+{height}/H/2-0.5"
    return left, f"{left}+{width}", top, f"{top}+{height}"


def paced(speed: Fraction, rate: Rate) -> str:
    """Filters that show frame i of a stretch from slot ceil(i / speed) on: slot k then holds frame floor(k x speed).

    One copy more of the last frame tells how long the last one is shown. Empty at full speed.
    """
    if speed == 1:
        return ""
    slot = f"settb={rate.den}/{rate.num},setpts='ceil(N*{speed.denominator}/{speed.numerator})'"
    return f"tpad=stop=1:stop_mode=clone,{slot},fps={rate}"


def side_by_side(piece: SideBySide, places: tuple[Box, Box], house: House, tail: str) -> str:
    """Inputs 0 and 1, each from its half's first frame on, in their places; over them input 2, paper with two holes."""
    halves = zip((piece.left, piece.right), places, ("left", "right"), strict=True)
    made = [
        f"[{number}:v]{_half(half, piece, house.rate)},scale={box.width}:{box.height}:flags=bicubic[{name}]"
        for number, (half, box, name) in enumerate(halves)
    ]
    left, right = places
    gap = right.left - left.left - left.width
    return ";".join(
        [
            *made,
            f"[left]pad={left.width + gap}:{left.height}:0:0:black[spaced]",
            f"[spaced][right]hstack=inputs=2,pad={house.width}:{house.height}:{left.left}:{left.top}:black[both]",
            f"[2:v]{RGB_TO_HOUSE},format=yuva420p[paper]",
            f"[both][paper]overlay=0:0,{tail}[whole]",
        ]
    )


def _half(half: Half, piece: SideBySide, rate: Rate) -> str:
    """A half from the first frame of life on, at the pace of both, and held at its end for what is said over it."""
    waits = (
        f"tpad=start={half.waits}:start_mode=clone:stop={piece.life - half.waits - half.span.frames}:stop_mode=clone"
    )
    counted = f"settb={rate.den}/{rate.num},setpts=N"
    pace = paced(piece.speed, rate)
    steps = [f"trim=end_frame={half.span.frames}", counted, waits, counted, *([pace] if pace else [])]
    return ",".join([*steps, counted, f"tpad=stop={piece.frames}:stop_mode=clone", f"trim=end_frame={piece.frames}"])
