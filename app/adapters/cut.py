"""Cuts from a prepared recording by ffmpeg: a stretch of it at a speed, one frame of it, a composed piece.

Everything comes out in house form, or raises: the number of frames and the decoder's header are read back from each
file before it gets its name.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

from app.adapters import child, ffmpeg, paper
from app.adapters.boxes import Track, picture_track
from app.adapters.conform import made_extradata
from app.adapters.files import partial
from app.domain.errors import RenderFailed
from app.domain.recording import House
from app.domain.tape import Card, Shot
from app.domain.timecode import Span

FADE = 8
"""Frames in which a card comes out of the paper."""
_FULL_CHROMA = "flags=accurate_rnd+full_chroma_int+full_chroma_inp+bicubic"


def track_of(path: Path, what: str) -> Track:
    """The index of a file of ours. Raises RenderFailed, a sentence that begins with `what`, when it is not whole."""
    try:
        return picture_track(path)
    except ValueError as error:
        raise RenderFailed(f"{what} {error}.", permanent=True) from error


def groups_inside(span: Span, track: Track) -> Span | None:
    """From the first key in a span to the last end of a group in it; None when no whole group lies inside."""
    inside = [edge for edge in (*track.keys, track.frames) if span.first <= edge <= span.end]
    return Span(first=inside[0], end=inside[-1]) if len(inside) > 1 else None


def encode_shot(shot: Shot, recording: Path, house: House, target: Path) -> None:
    """Write a shot whole: slot k of the file shows frame `shot.source_frame(k)` of the recording."""
    graph = f"trim=end_frame={shot.span.frames},{_paced(shot.speed, house)}{ffmpeg.filter_tail(house)}"
    source = ["-xerror", *ffmpeg.guarded_input(recording, *_seek(shot.span.first, house)), "-map", "0:v:0", "-an"]
    with _checked(target, shot.frames, house) as out:
        frames = max(shot.frames, shot.span.frames)
        _ffmpeg([*source, "-frames:v", str(shot.frames), *_form(graph, house), str(out)], frames, house)


def encode_card(card: Card, house: House, target: Path) -> None:
    """Write a card of words. It comes out of the paper and goes back, in less than half of its time."""
    _compose(paper.card_image(card, house), min(FADE, max(0, card.frames - 3) // 4), card.frames, house, target)


def encode_still(recording: Path, frame: int, frames: int, house: House, target: Path) -> None:
    """Write one frame of a recording, held for so many frames."""
    _compose(frame_image(recording, frame, house), 0, frames, house, target)


def _compose(image: bytes, fade: int, frames: int, house: House, target: Path) -> None:
    """Have a picture of house size composed by a child: its fades, and what stands between them.

    A frame of that is repeated behind the change to the house's colours, where one more costs next to nothing. Three
    stand between fades, because versions of ffmpeg do not agree on whether `loop` counts them from 0 or from 1. The
    exact rate comes first, because the encoder writes it into its header.
    """
    rate, stand = house.rate, 3 if fade else 1
    graph = [
        f"settb={rate.den}/{rate.num},setpts=N,fps={rate}",
        f"scale=in_range=pc:out_range=tv:out_color_matrix=bt709:{_FULL_CHROMA},format=yuv420p",
        f"loop=loop={frames - 2 * fade - stand}:size=1:start={fade + stand // 2}",
        ffmpeg.filter_tail(house),
    ]
    job = {"rate": float(rate.fraction), "fade": fade, "stand": stand, "blank": paper.colour("paper")}
    with _checked(target, frames, house) as out:
        told = {**job, "out": str(out.absolute()), "options": _form(",".join(graph), house)}
        command, stdin = child.python("app.adapters.compose"), json.dumps(told).encode() + b"\n" + image
        limits = child.run(command, cpu_s=_cpu_s(frames, house), file_size=_largest(frames, house), stdin=stdin)
        limits.check("Composing a piece of the tape")


def frame_image(recording: Path, frame: int, house: House) -> bytes:
    """One exact frame of a prepared recording or a tape, as the bytes of a PPM picture (quick to write and to read).

    Raises RenderFailed when there is no such frame.
    """
    colours = f"scale=in_color_matrix=bt709:in_range=tv:out_range=pc:{_FULL_CHROMA},format=rgb24"
    source = [*ffmpeg.guarded_input(recording, *_seek(frame, house)), "-map", "0:v:0", "-frames:v", "1"]
    image = _ffmpeg([*source, "-vf", colours, "-f", "image2pipe", "-c:v", "ppm", "pipe:1"], ffmpeg.GROUP, house)
    if not image:
        raise RenderFailed(f"Frame {frame} of a recording cannot be read; prepare it again.", permanent=True)
    return image


def _seek(first: int, house: House) -> list[str]:
    """Half a frame early, so that no rounding of seconds can lose the frame or show the one before it."""
    return ["-ss", f"{float((first - Fraction(1, 2)) / house.rate.fraction):.6f}"] if first else []


def _paced(speed: Fraction, house: House) -> str:
    """Filters that show frame i of a stretch from slot ceil(i / speed) on: slot k then holds frame floor(k x speed).

    One copy more of the last frame tells how long the last one is shown. Empty at full speed.
    """
    if speed == 1:
        return ""
    rate = house.rate
    slot = f"settb={rate.den}/{rate.num},setpts='ceil(N*{speed.denominator}/{speed.numerator})'"
    return f"tpad=stop=1:stop_mode=clone,{slot},fps={rate},"


def _form(graph: str, house: House) -> list[str]:
    """Options that give pictures the form of the house."""
    return ["-vf", graph, *ffmpeg.house_video_options(house), *ffmpeg.mp4_options(house.rate)]


def _ffmpeg(arguments: list[str], frames: int, house: House) -> bytes:
    """Run ffmpeg on a piece and give what it printed; limits follow from the piece's size."""
    command = [ffmpeg.program(), *ffmpeg.QUIET, *arguments]
    limits = child.run(command, cpu_s=_cpu_s(frames, house), file_size=_largest(frames, house))
    return limits.check("Making a piece of the tape").stdout


def _cpu_s(frames: int, house: House) -> float:
    """Generous CPU seconds: a minute, and a fifth of a second for each picture of 1280 x 720."""
    return 60 + frames * house.width * house.height / (1280 * 720) / 5


def _largest(frames: int, house: House) -> int:
    """Bytes that no piece reaches: that of its pictures when nothing were compressed, and a megabyte."""
    return frames * house.width * house.height * 3 // 2 + (1 << 20)


@contextmanager
def _checked(target: Path, frames: int, house: House) -> Iterator[Path]:
    """A draft for a piece, which gets its name only when it has the planned frames and the header of the house."""
    with partial(target) as draft:
        yield draft
        track = track_of(draft, "A piece")
        if track.frames != frames:
            raise RenderFailed(f"A piece has {track.frames} frames, {frames} were planned.", permanent=True)
        if track.extradata != made_extradata(house):
            raise RenderFailed("A piece came out in another form than the house's; it would not join.", permanent=True)
