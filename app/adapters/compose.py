"""Composes the steps that are not plain video: a card of words, a frame held still. Run as a child of its own.

    python -m app.adapters.compose < JOB

The job is one line of JSON (see `Job`), followed by the bytes of a picture where a frame is to be held. moviepy
composes and writes; what it would leave to chance is said explicitly, or the piece would not join the others: colours
(its writer knows no bt709), timestamps (it rounds rates to two places), and every encoder option of the house.
"""

from __future__ import annotations

import errno
import io
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
from moviepy import ImageClip, vfx
from moviepy.video.io.ffmpeg_writer import FFMPEG_VideoWriter
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
    """One piece to write: `frames` frames in house form to `out`. Without `card`, a picture follows the job."""

    out: str
    house: House
    frames: int
    card: Words | None = None


def card_job(card: Card, house: House, out: Path) -> bytes:
    """What the child is given for a card."""
    words = Words(title=card.title, subtitle=card.subtitle, foot=card.foot)
    return _line(Job(out=str(out.absolute()), house=house, frames=card.frames, card=words))


def still_job(image: bytes, frames: int, house: House, out: Path) -> bytes:
    """What the child is given for a held frame; `image` is the frame in house size."""
    return _line(Job(out=str(out.absolute()), house=house, frames=frames)) + image


def _line(job: Job) -> bytes:
    return job.model_dump_json().encode() + b"\n"


def main(line: bytes, image: bytes) -> None:
    """Write the piece that a job asks for."""
    job = Job.model_validate_json(line)
    if job.card is None:
        pixels, fade = _pixels(Image.open(io.BytesIO(image))), 0
    else:
        card = Card(job.card.title, job.card.subtitle, job.card.foot, job.frames)
        pixels, fade = _pixels(paper.card_picture(card, job.house)), min(FADE, job.frames // 4)
    write(_composed(pixels, fade, job.house), fade, job)


def _pixels(picture: Image.Image) -> NDArray[np.uint8]:
    """Red, green, blue from 0 to 255, shape (height, width, 3)."""
    return np.asarray(picture.convert("RGB"))


def _composed(pixels: NDArray[np.uint8], fade: int, house: House) -> ImageClip:
    """What changes: `fade` frames out of the paper, one as it stands, as many back into the paper.

    Half a frame longer, because moviepy rounds its count of frames down.
    """
    rate = float(house.rate.fraction)
    clip = ImageClip(pixels, duration=(2 * fade + 1.5) / rate)
    if not fade:
        return clip
    blank = list(paper.colour("paper"))
    return clip.with_effects([vfx.FadeIn(fade / rate, blank), vfx.FadeOut(fade / rate, blank)])


def write(clip: ImageClip, still: int, job: Job) -> None:
    """Write a clip in house form, its frame `still` held until the piece has its length."""
    rate = job.house.rate
    form = [
        *("-vf", _graph(job.house, still, job.frames - 2 * still - 1)),
        *ffmpeg.house_video_options(job.house),
        *ffmpeg.mp4_options(rate),
    ]
    size, speed = (job.house.width, job.house.height), float(rate.fraction)
    writer = FFMPEG_VideoWriter(job.out, size, speed, codec="libx264", preset="veryfast", ffmpeg_params=form)
    for frame in clip.iter_frames(fps=speed, dtype="uint8"):
        writer.write_frame(frame)
    _finish(writer.proc)


def _finish(encoder: subprocess.Popen[bytes]) -> None:
    """Wait for moviepy's ffmpeg and exit with its complaint; moviepy itself would not look at how it ended."""
    _, complaint = encoder.communicate()
    if encoder.returncode == -signal.SIGXFSZ:
        sys.exit(os.strerror(errno.EFBIG))
    if encoder.returncode:
        sys.exit(complaint.decode(errors="replace") or f"ffmpeg ended with {encoder.returncode}")


def _graph(house: House, still: int, more: int) -> str:
    """From moviepy's pictures to the house: the exact rate first, which the encoder writes into its header.

    The held frame is repeated `more` times here, where it costs next to nothing, and not piped again and again.
    """
    rate = house.rate
    steps = [
        f"settb={rate.den}/{rate.num},setpts=N,fps={rate}",
        "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+full_chroma_int+bicubic",
        f"format=yuv420p,loop=loop={more}:size=1:start={still}",
        ffmpeg.filter_tail(house),
    ]
    return ",".join(steps)


if __name__ == "__main__":
    main(sys.stdin.buffer.readline(), sys.stdin.buffer.read())
