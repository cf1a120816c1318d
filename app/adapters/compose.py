"""Composes the steps that are not plain video: a card of words, a frame held still. Run as a child of its own.

    python -m app.adapters.compose < JOB

The job is one line of JSON (see `Job`), followed by the bytes of a PNG where a frame is to be held. moviepy composes
and writes; what it would leave to chance is said explicitly, or the piece would not join the others: colours (its
writer knows no bt709), timestamps (it rounds rates to two places), and every encoder option of the house.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
from moviepy import ImageClip, vfx
from numpy.typing import NDArray
from PIL import Image

from app.adapters import ffmpeg, paper
from app.domain.base import Value
from app.domain.recording import House
from app.domain.tape import Card

FADE = 8
"""Frames in which a card comes out of the paper and goes back into it."""


class Words(Value):
    """What a card says."""

    title: str
    subtitle: str
    foot: str


class Job(Value):
    """One piece to write: `frames` frames in house form to `out`. Without `card`, a PNG follows the job."""

    out: str
    house: House
    frames: int
    card: Words | None = None


def card_job(card: Card, house: House, out: Path) -> bytes:
    """What the child is given for a card."""
    words = Words(title=card.title, subtitle=card.subtitle, foot=card.foot)
    return _line(Job(out=str(out.absolute()), house=house, frames=card.frames, card=words))


def still_job(png: bytes, frames: int, house: House, out: Path) -> bytes:
    """What the child is given for a held frame; `png` is the frame in house size."""
    return _line(Job(out=str(out.absolute()), house=house, frames=frames)) + png


def _line(job: Job) -> bytes:
    return job.model_dump_json().encode() + b"\n"


def main(line: bytes, png: bytes) -> None:
    """Write the piece that a job asks for."""
    job = Job.model_validate_json(line)
    if job.card is None:
        write(_held(_pixels(Image.open(io.BytesIO(png))), job), job)
    else:
        card = Card(job.card.title, job.card.subtitle, job.card.foot, job.frames)
        write(_faded(_held(_pixels(paper.card_picture(card, job.house)), job), job), job)


def _pixels(picture: Image.Image) -> NDArray[np.uint8]:
    """Red, green, blue from 0 to 255, shape (height, width, 3)."""
    return np.asarray(picture.convert("RGB"))


def _held(pixels: NDArray[np.uint8], job: Job) -> ImageClip:
    """One picture for the whole length; half a frame more, because moviepy rounds its count of frames down."""
    return ImageClip(pixels, duration=(job.frames + 0.5) / float(job.house.rate.fraction))


def _faded(clip: ImageClip, job: Job) -> ImageClip:
    """The words come out of the paper and go back into it; a short card spends at most half its time on that."""
    seconds = float(job.house.rate.seconds(min(FADE, job.frames // 4)))
    if not seconds:
        return clip
    blank = list(paper.colour("paper"))
    return clip.with_effects([vfx.FadeIn(seconds, blank), vfx.FadeOut(seconds, blank)])


def write(clip: ImageClip, job: Job) -> None:
    """Write a clip in house form."""
    clip.write_videofile(
        job.out,
        fps=float(job.house.rate.fraction),
        codec="libx264",
        preset="veryfast",
        audio=False,
        logger=None,
        ffmpeg_params=[
            "-vf",
            _graph(job.house),
            *ffmpeg.house_video_options(job.house),
            *ffmpeg.mp4_options(job.house.rate),
        ],
    )


def _graph(house: House) -> str:
    """From moviepy's pictures to the house: the exact rate first, which the encoder writes into its header."""
    rate = house.rate
    steps = [
        f"settb={rate.den}/{rate.num},setpts=N,fps={rate}",
        "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+full_chroma_int+bicubic",
        ffmpeg.filter_tail(house),
    ]
    return ",".join(steps)


if __name__ == "__main__":
    main(sys.stdin.buffer.readline(), sys.stdin.buffer.read())
