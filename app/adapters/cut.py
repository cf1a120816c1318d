"""Cuts from prepared recordings by ffmpeg: a stretch at a speed, one frame, two stretches side by side, a card.

Everything comes out in house form, or raises: the number of frames and the decoder's header are read back from each
file before it gets its name.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

from app.adapters import child, effects, ffmpeg, labels, paper
from app.adapters.boxes import Track, picture_track
from app.adapters.conform import made_extradata
from app.adapters.files import partial
from app.domain.errors import RenderFailed
from app.domain.lesson import Blur, Box
from app.domain.recording import House
from app.domain.tape import Card, Shot, SideBySide, Still, Window
from app.domain.timecode import Span

FADE = 8
"""Frames in which a card comes out of the paper."""
QUICK = ("-subq", "1")
"""For slowed runs, in which most pictures are copies of the one before: a quarter less work for a tenth more bytes,
no worse to look at. It changes how vectors are searched and nothing in the decoder's header."""
_FULL_CHROMA = "flags=accurate_rnd+full_chroma_int+full_chroma_inp+bicubic"
_ONE = Span(first=0, end=1)


def track_of(path: Path, what: str) -> Track:
    """The index of a file of ours. Raises RenderFailed, a sentence that begins with `what`, when it is not whole."""
    try:
        return picture_track(path)
    except ValueError as error:
        raise RenderFailed(f"{what} {error}.", permanent=True) from error


def groups_inside(span: Span, track: Track) -> tuple[Span, ...]:
    """The groups of pictures that lie wholly inside a span, in order."""
    edges = [edge for edge in (*track.keys, track.frames) if span.first <= edge <= span.end]
    return tuple(Span(first=first, end=end) for first, end in itertools.pairwise(edges))


def encode_shot(shot: Shot, recording: Path, house: House, target: Path) -> None:
    """Write a shot whole: slot k of the file shows frame `shot.source_frame(k)` of the recording."""
    pace = effects.paced(shot.speed, house.rate)
    changed = effects.shown(shot.blurred(shot.span), pace, shot.window, shot.span, shot.frames)
    graph = ",".join([f"trim=end_frame={shot.span.frames}", *changed, ffmpeg.filter_tail(house)])
    source = ["-xerror", *ffmpeg.guarded_input(recording, *_seek(shot.span.first, house)), "-map", "0:v:0", "-an"]
    with _checked(target, shot.frames, house) as out:
        frames = max(shot.frames, shot.span.frames)
        quick = QUICK if shot.speed < 1 else ()
        _ffmpeg([*source, "-frames:v", str(shot.frames), *_form(graph, house), *quick, str(out)], frames, house)


def encode_card(card: Card, house: House, target: Path) -> None:
    """Write a card of words. It comes out of the paper and goes back, in less than half of its time."""
    _compose(paper.card_image(card, house), min(FADE, max(0, card.frames - 3) // 4), card.frames, house, target)


def encode_still(still: Still, frames: int, recording: Path, house: House, target: Path) -> None:
    """Write one frame of a recording, held for so many frames: with a question on it, or with a window that moves."""
    if still.window is not None and still.window.moves:
        _encode_glide(still, still.window, recording, house, target)
        return
    image = frame_image(recording, still.frame, house, window=still.window, blurs=still.blurs)
    image = labels.with_question(image, still.words, house) if still.words else image
    _compose(image, 0, frames, house, target)


def _encode_glide(still: Still, window: Window, recording: Path, house: House, target: Path) -> None:
    rate = house.rate
    held = f"trim=end_frame=1,{_hidden(still.blurs)}loop=loop={still.frames - 1}:size=1:start=0"
    counted = f"settb={rate.den}/{rate.num},setpts=N"
    enlarged = effects.shown((), "", window, _ONE, still.frames)
    graph = ",".join([held, counted, *enlarged, f"trim=end_frame={still.frames}", ffmpeg.filter_tail(house)])
    source = [*ffmpeg.guarded_input(recording, *_seek(still.frame, house)), "-map", "0:v:0", "-an"]
    with _checked(target, still.frames, house) as out:
        _ffmpeg([*source, "-frames:v", str(still.frames), *_form(graph, house), str(out)], still.frames, house)


def encode_side_by_side(piece: SideBySide, recordings: Callable[[str], Path], house: House, target: Path) -> None:
    """Write two stretches side by side in one child. `recordings` finds a prepared recording by its digest."""
    halves = (piece.left, piece.right)
    places = labels.places(house, labelled=any(half.label for half in halves))
    graph = effects.side_by_side(piece, places, house, ffmpeg.filter_tail(house))
    sources = [ffmpeg.guarded_input(recordings(half.picture), *_seek(half.span.first, house)) for half in halves]
    drawn = ffmpeg.piped_input("rgba", house.width, house.height, house.rate)
    coded = [*ffmpeg.house_video_options(house), *ffmpeg.mp4_options(house.rate)]
    with _checked(target, piece.frames, house) as out:
        arguments = [*sources[0], *sources[1], *drawn, "-filter_complex", graph, "-map", "[whole]"]
        arguments = ["-xerror", *arguments, "-frames:v", str(piece.frames), *coded, str(out)]
        sheet = labels.pair_paper(piece.left.label, piece.right.label, house)
        _ffmpeg(arguments, 2 * max(piece.life, piece.frames), house, stdin=sheet)


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
        knows = {"IMAGEIO_FFMPEG_EXE": ffmpeg.program()}  # or moviepy would try it first
        limits = child.run(
            command, cpu_s=_cpu_s(frames, house), file_size=_largest(frames, house), stdin=stdin, knows=knows
        )
        limits.check("Composing a piece of the tape")


def frame_image(
    recording: Path, frame: int, house: House, *, window: Window | None = None, blurs: Sequence[Box] = ()
) -> bytes:
    """One exact frame of a prepared recording or a tape, as the bytes of a PPM picture (quick to write and to read).

    `window`: the part of it that is enlarged; `blurs`: boxes that are made unreadable. Raises RenderFailed when there
    is no such frame.
    """
    colours = f"scale=in_color_matrix=bt709:in_range=tv:out_range=pc:{_FULL_CHROMA},format=rgb24"
    graph = ",".join([*effects.shown(_throughout(blurs), "", window, _ONE, 1), colours])
    source = [*ffmpeg.guarded_input(recording, *_seek(frame, house)), "-map", "0:v:0", "-frames:v", "1"]
    image = _ffmpeg([*source, "-vf", graph, "-f", "image2pipe", "-c:v", "ppm", "pipe:1"], ffmpeg.GROUP, house)
    if not image:
        raise RenderFailed(f"Frame {frame} of a recording cannot be read; prepare it again.", permanent=True)
    return image


def _hidden(blurs: Sequence[Box]) -> str:
    return "".join(f"{step}," for step in effects.shown(_throughout(blurs), "", None, _ONE, 1))


def _throughout(blurs: Sequence[Box]) -> list[Blur]:
    return [Blur(box, _ONE) for box in blurs]


def _seek(first: int, house: House) -> list[str]:
    """Half a frame early, so that no rounding of seconds can lose the frame or show the one before it."""
    return ["-ss", f"{float((first - Fraction(1, 2)) / house.rate.fraction):.6f}"] if first else []


def _form(graph: str, house: House) -> list[str]:
    """Options that give pictures the form of the house."""
    return ["-vf", graph, *ffmpeg.house_video_options(house), *ffmpeg.mp4_options(house.rate)]


def _ffmpeg(arguments: list[str], frames: int, house: House, stdin: bytes | None = None) -> bytes:
    """Run ffmpeg on a piece and give what it printed; limits follow from the piece's size."""
    command = [ffmpeg.program(), *ffmpeg.QUIET, *arguments]
    limits = child.run(command, cpu_s=_cpu_s(frames, house), file_size=_largest(frames, house), stdin=stdin)
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
