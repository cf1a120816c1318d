"""What the tape and the preparation are compared with: the plain tools, doing the same work in one go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from app.adapters import ffmpeg, paper
from app.adapters.cut import FADE
from app.domain.tape import Card, Plan, Shot, Still
from tests.adapters import video
from tests.bench.stamped import HOUSE, Shelf


def one_command(plan: Plan, shelf: Shelf, out: Path) -> None:
    """The lesson by a single ffmpeg command: every step an input, one filter graph, everything encoded.

    It gets the prepared recordings, cards that are drawn already, and the encoder settings of the house.
    """
    inputs: list[str] = []
    graph: list[str] = []
    for number, piece in enumerate(plan.pieces):
        source, picture, sound = _input(number, piece, shelf, out.parent)
        inputs += source
        graph.append(f"[{number}:v]{picture},{ffmpeg.filter_tail(HOUSE)}[v{number}]")
        graph.append(f"{sound},aresample=48000[a{number}]")
    ends = "".join(f"[v{number}][a{number}]" for number in range(len(plan.pieces)))
    whole = f"{ends}concat=n={len(plan.pieces)}:v=1:a=1[joined][sound];[joined]{ffmpeg.filter_tail(HOUSE)}[picture]"
    form = [*ffmpeg.house_video_options(HOUSE), *ffmpeg.SOUND, *ffmpeg.mp4_options(HOUSE.rate), str(out)]
    command = [ffmpeg.program(), *ffmpeg.QUIET, *inputs, "-filter_complex", ";".join([*graph, whole])]
    video.ran([*command, "-map", "[picture]", "-map", "[sound]", *form])


def _input(number: int, piece: Any, shelf: Shelf, folder: Path) -> tuple[list[str], str, str]:
    """The options of a step's input, its picture's filters, its sound's filters."""
    seconds = piece.frames / 30
    silence = f"anullsrc=r=48000:cl=stereo,atrim=duration={seconds:.6f}"
    counted = "settb=1/30,setpts=N"
    match piece:
        case Card():
            card = folder / f"card-{number}.ppm"
            card.write_bytes(paper.card_image(piece, HOUSE))
            fade = f"fade=in:0:{FADE}:c=#faf8f3,fade=out:{piece.frames - FADE}:{FADE}:c=#faf8f3"
            colours = f"scale=in_range=pc:out_range=tv:out_color_matrix=bt709,{fade}"
            return ["-loop", "1", "-framerate", "30", "-t", f"{seconds:.6f}", "-i", str(card)], colours, silence
        case Still():
            held = f"trim=end_frame=1,loop=loop={piece.frames - 1}:size=1:start=0,{counted}"
            return _source(piece.picture, piece.frame, shelf), held, silence
        case Shot():
            sound = silence
            if piece.sound:
                sound = f"[{number}:a]atrim=duration={seconds:.6f},asetpts=N/SR/TB"
            pace = "" if piece.speed == 1 else f",setpts=N*{1 / piece.speed},tpad=stop=1:stop_mode=clone,fps=30"
            cut = f"trim=end_frame={piece.span.frames},{counted}{pace},trim=end_frame={piece.frames},{counted}"
            return _source(piece.picture, piece.span.first, shelf), cut, sound
        case _:
            raise AssertionError(piece)


def _source(picture: str, first: int, shelf: Shelf) -> list[str]:
    return ["-ss", f"{(first - 0.5) / 30:.6f}", "-i", str(shelf.library.picture(picture))]


MOVIEPY = """
import json, sys
from moviepy import ImageClip, VideoFileClip, concatenate_videoclips, vfx
job = json.load(sys.stdin)
clips = []
for step in job["steps"]:
    if step["kind"] == "card":
        clips.append(ImageClip(step["file"], duration=step["frames"] / 30))
        continue
    source = VideoFileClip(step["file"])
    if step["kind"] == "still":
        clips.append(source.to_ImageClip(step["first"] / 30 + 0.01, duration=step["frames"] / 30))
    else:
        cut = source.subclipped(step["first"] / 30, step["end"] / 30)
        if step["speed"] != 1:
            cut = cut.without_audio().with_effects([vfx.MultiplySpeed(step["speed"])])
        clips.append(cut)
whole = concatenate_videoclips(clips, method="compose")
whole.write_videofile(job["out"], fps=30, codec="libx264", audio_codec="aac", preset="veryfast", logger=None)
"""
"""A lesson as one would write it from moviepy's documentation."""


def moviepy_job(plan: Plan, shelf: Shelf, out: Path) -> dict[str, Any]:
    """What the plain script is told."""
    steps: list[dict[str, Any]] = []
    for number, piece in enumerate(plan.pieces):
        if isinstance(piece, Card):
            card = out.parent / f"card-{number}.png"
            paper.card_picture(piece, HOUSE).save(card)
            steps.append({"kind": "card", "file": str(card), "frames": piece.frames})
        elif isinstance(piece, Still):
            file = str(shelf.library.picture(piece.picture))
            steps.append({"kind": "still", "file": file, "first": piece.frame, "frames": piece.frames})
        elif isinstance(piece, Shot):
            file, span = str(shelf.library.picture(piece.picture)), piece.span
            cut = {"first": span.first, "end": span.end, "speed": float(piece.speed)}
            steps.append({"kind": "shot", "file": file, **cut})
    return {"steps": steps, "out": str(out)}


def transcode(source: Path, out: Path) -> None:
    """A bare transcode to the same form: one ffmpeg, the encoder settings of the house, AAC sound."""
    graph = f"scale={HOUSE.width}:{HOUSE.height}:out_color_matrix=bt709:out_range=tv,{ffmpeg.filter_tail(HOUSE)}"
    form = [*ffmpeg.house_video_options(HOUSE), *ffmpeg.SOUND, *ffmpeg.mp4_options(HOUSE.rate), str(out)]
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, "-i", str(source), "-vf", graph, *form])
