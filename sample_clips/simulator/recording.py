"""One small recording of one view of a scene, in the house form of the demo."""

from __future__ import annotations

import os
import subprocess
import tempfile
from pathlib import Path

import imageio_ffmpeg
import numpy as np

from sample_clips.simulator.camera import HEIGHT, WIDTH
from sample_clips.simulator.noises import SOUND_RATE
from sample_clips.simulator.pictures import View, frames, set_of
from sample_clips.simulator.scene import FRAME_RATE, Scene
from sample_clips.simulator.sound import sound_of

CRF = 35
SOUND_BITRATE = "32k"
_COLOUR = ("scale=out_color_matrix=bt709:out_range=tv,format=yuv420p,setsar=1,"
           "setparams=range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709")  # fmt: skip
_X264 = "keyint=30:min-keyint=30:scenecut=0:open-gop=0:bframes=2:stitchable=1"
_CAREFUL = (  # fewer bits; the last undoes what the first does to the decoder header, which all recordings must share
    "subme=9:trellis=2:me=umh:merange=24:rc-lookahead=60:b-adapt=2:chroma-qp-offset=2"
)


class DrawingFailed(RuntimeError):
    """The encoder refused; its last words are the message. Asking again does not help."""


def arguments(sound: Path, out: Path) -> list[str]:
    """The encoder's arguments: raw pictures from standard input, sound from a file of 32-bit floats."""
    return ["-hide_banner", "-loglevel", "error", "-nostdin", "-y",
            "-f", "rawvideo", "-pixel_format", "rgb24", "-video_size", f"{WIDTH}x{HEIGHT}",
            "-framerate", str(FRAME_RATE), "-i", "pipe:0",
            "-f", "f32le", "-ar", str(SOUND_RATE), "-ac", "1", "-i", str(sound),
            "-map", "0:v", "-map", "1:a", "-vf", _COLOUR,
            "-c:v", "libx264", "-preset", "veryfast", "-threads", "1", "-crf", str(CRF),
            "-x264-params", f"{_X264}:{_CAREFUL}",
            "-video_track_timescale", "15360", "-c:a", "aac", "-b:a", SOUND_BITRATE, "-ac", "1",
            "-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact", "-flags:a", "+bitexact",
            "-movflags", "+faststart", "-f", "mp4", str(out)]  # fmt: skip


def write(scene: Scene, view: View, path: Path) -> None:
    """Draw one view of a scene, with the sound heard there, and put it at path whole or not at all."""
    stage = set_of(scene, view)
    part = path.with_name(path.name + ".part")
    with tempfile.TemporaryDirectory() as folder:
        sound = Path(folder) / "sound.f32"
        sound.write_bytes(sound_of(scene, stage.camera).astype("<f4").tobytes())
        command = [imageio_ffmpeg.get_ffmpeg_exe(), *arguments(sound, part)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as encoder:
            assert encoder.stdin is not None and encoder.stderr is not None
            try:
                for frame in frames(stage):
                    encoder.stdin.write(np.ascontiguousarray(frame).tobytes())
                encoder.stdin.close()
            except BrokenPipeError:
                pass  # the encoder has gone: its own words, below, say why
            said = encoder.stderr.read().decode(errors="replace").strip()
    if encoder.returncode != 0:
        part.unlink(missing_ok=True)
        raise DrawingFailed(said[-500:])
    os.replace(part, path)
