"""Composes a held picture, with or without fades, by moviepy. Run as a child of its own.

    python -m app.adapters.compose < JOB

The job is one line of JSON, {"out", "rate", "fade", "stand", "blank", "options"}, followed by the bytes of a picture.
`fade` frames come out of the colour `blank`, `stand` frames stand, and `fade` frames go back into it. `options` are
ffmpeg's and leave nothing to moviepy's writer, which would round the rate, know no bt709 and take no notice when
ffmpeg fails. Imports nothing of the program, so that its start is cheap.
"""

from __future__ import annotations

import errno
import io
import json
import os
import signal
import subprocess
import sys
from typing import Any

import numpy as np
from moviepy import ImageClip, vfx
from moviepy.video.io.ffmpeg_writer import FFMPEG_VideoWriter
from PIL import Image


def main(job: dict[str, Any], image: bytes) -> None:
    """Write what a job asks for: both fades, and what stands between them. `image`: any format that Pillow reads."""
    with Image.open(io.BytesIO(image)) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    rate, fade = job["rate"], job["fade"]
    # Half a frame longer, because moviepy rounds its count of frames down.
    clip = ImageClip(pixels, duration=(2 * fade + job["stand"] + 0.5) / rate)
    if fade:
        clip = clip.with_effects([vfx.FadeIn(fade / rate, job["blank"]), vfx.FadeOut(fade / rate, job["blank"])])
    write(clip, job["out"], rate, job["options"])


def write(clip: ImageClip, out: str, rate: float, options: list[str]) -> None:
    """Write a clip with moviepy's writer, and exit with ffmpeg's complaint when it has one."""
    writer = FFMPEG_VideoWriter(out, clip.size, rate, codec="libx264", preset="veryfast", ffmpeg_params=options)
    try:
        for frame in clip.iter_frames(fps=rate, dtype="uint8"):
            writer.proc.stdin.write(frame.tobytes())  # its own method hides how ffmpeg ended
    except BrokenPipeError:
        pass  # ffmpeg is gone, and says why
    _finish(writer.proc)


def _finish(encoder: subprocess.Popen[bytes]) -> None:
    _, complaint = encoder.communicate()
    if encoder.returncode in (-signal.SIGKILL, -signal.SIGTERM):
        os.kill(os.getpid(), -encoder.returncode)  # whoever waits for this program is to know that nothing failed
    if encoder.returncode == -signal.SIGXFSZ:
        sys.exit(os.strerror(errno.EFBIG))
    if encoder.returncode:
        sys.exit(complaint.decode(errors="replace") or f"ffmpeg ended with {encoder.returncode}")


if __name__ == "__main__":
    main(json.loads(sys.stdin.buffer.readline()), sys.stdin.buffer.read())
