"""Arguments for ffmpeg: what every picture of the house must share, and what every input must be kept from.

Pieces join without re-encoding only when all of this is the same in all of them, so it stands here once:
- the tail of every graph sets time base, square pixels and colour tags (output options do not tag raw input);
- timestamps are counted, `setpts=N` in a time base of one frame; anything that rounds makes frames of no length;
- `stitchable` and the fixed group of pictures make the headers depend on size and rate alone, not on the content.
"""

from __future__ import annotations

import functools
import importlib.resources
import os
import shutil
from pathlib import Path

from app.adapters import child
from app.domain.errors import Unready
from app.domain.recording import House
from app.domain.timecode import Rate

GROUP = 30
"""Frames from one key frame to the next, at every rate."""

FORMATS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,mpegts,mpeg,avi,asf,flv,wav,mp3,aac,ogg,gif,flac"
"""Formats that hold sound and picture and nothing else: no playlists, no scripts, no drawings, no folders of stills."""

PROTOCOLS = "file,pipe"

QUIET = ("-nostdin", "-hide_banner", "-v", "error", "-y")

BARE = ("-map_metadata", "-1", "-map_chapters", "-1", "-sn", "-dn", "-fflags", "+bitexact")
"""Nothing of the source but its picture and sound: no titles, places, chapters, subtitles, sensor data."""

SOUND = ("-c:a", "aac", "-b:a", "128k", "-ar", "48000", "-ac", "2")
"""Sound that browsers play."""

_COLOUR = "range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709"


def program() -> str:
    """The path of the ffmpeg program: IMAGEIO_FFMPEG_EXE, else the one of imageio-ffmpeg, else that of the system.

    Raises Unready where there is none.
    """
    found = os.environ.get("IMAGEIO_FFMPEG_EXE") or _shipped() or shutil.which("ffmpeg")
    if not found:
        raise Unready("There is no ffmpeg here. Install the package imageio-ffmpeg again.")
    return found


@functools.cache
def _shipped() -> str:
    """The program within imageio-ffmpeg; empty where that has none for this machine.

    Its own search tries the program by running it, takes another one for good when that is killed, and would run
    outside the limits of `child`.
    """
    folder = importlib.resources.files("imageio_ffmpeg.binaries")
    return next((str(each) for each in folder.iterdir() if each.name.startswith("ffmpeg-")), "")


@functools.cache
def version() -> str:
    """The encoder's version; part of the key of new work, never of work that exists."""
    told = child.run([program(), "-version"], cpu_s=10).check("Asking ffmpeg for its version").stdout
    return told.decode(errors="replace").split("\n", 1)[0]


def guarded_input(path: Path, *options: str, formats: str = FORMATS) -> list[str]:
    """`-i` for a file, after its options and the lists of formats and protocols that it may use.

    The path is made absolute and marked as a file, because a name may look like an option, a pattern or a protocol.
    """
    guards = ["-format_whitelist", formats, "-protocol_whitelist", PROTOCOLS]
    return [*options, *guards, "-i", f"file:{path.absolute()}"]


def piped_input(pixels: str, width: int, height: int, rate: Rate) -> list[str]:
    """Raw pictures from standard input, such as drawings; `pixels` is a pixel format: rgb24, rgba."""
    guards = ["-protocol_whitelist", PROTOCOLS]
    shape = ["-pixel_format", pixels, "-video_size", f"{width}x{height}", "-framerate", str(rate)]
    return ["-f", "rawvideo", *guards, *shape, "-i", "pipe:0"]


def filter_tail(house: House) -> str:
    """The end of every picture's graph: counted timestamps, square pixels, colours as the house has them.

    The picture must come in house size and rate, in bt709 values of tv range (`fitted` sees to that).
    """
    rate = house.rate
    return f"format=yuv420p,settb={rate.den}/{rate.num},setpts=N,setsar=1,setparams={_COLOUR}"


def fitted(width: int, height: int, house: House) -> tuple[int, int]:
    """The even size that a picture of this shape has inside the house: as large as goes, never stretched."""
    scale = min(house.width / width, house.height / height)
    return min(house.width, _even(width * scale)), min(house.height, _even(height * scale))


def _even(length: float) -> int:
    return max(2, 2 * round(length / 2))


def bars(width: int, height: int, house: House) -> str:
    """The filter that centres a picture of this even size in the house on black; even offsets keep colours in place."""
    left, top = (house.width - width) // 4 * 2, (house.height - height) // 4 * 2
    return f"pad={house.width}:{house.height}:{left}:{top}:black"


def house_video_options(house: House, *, crf: int = 19) -> list[str]:
    """Encoder options of the house. `crf` may differ from piece to piece; everything else must not."""
    rate = house.rate
    return [
        *("-c:v", "libx264", "-preset", "veryfast", "-profile:v", "high", "-crf", str(crf)),
        *("-g", str(GROUP), "-keyint_min", str(GROUP), "-bf", "2", "-sc_threshold", "0", "-pix_fmt", "yuv420p"),
        *("-x264-params", "stitchable=1:scenecut=0:open-gop=0", "-flags:v", "+bitexact"),
        *("-fps_mode", "passthrough", "-enc_time_base:v", f"{rate.den}:{rate.num}"),
    ]


def mp4_options(rate: Rate) -> list[str]:
    """Output options of a finished file: plays while it loads, ticks divide frames exactly, carries nothing else."""
    timescale = track_timescale(rate)
    return [*BARE, "-video_track_timescale", str(timescale), "-movflags", "+faststart", "-f", "mp4"]


def track_timescale(rate: Rate) -> int:
    """Ticks per second of a picture track: a multiple of `rate.num` by a power of two; a frame is whole ticks.

    >>> track_timescale(Rate(num=30)), track_timescale(Rate(num=30000, den=1001))
    (15360, 30000)
    """
    timescale = rate.num
    while timescale < 10_000:
        timescale *= 2
    return timescale


def ticks_per_frame(rate: Rate) -> int:
    """Ticks that one frame lasts: 512 at 30 frames a second."""
    return track_timescale(rate) // rate.num * rate.den


def error_lines(stderr: str) -> list[str]:
    """What ffmpeg complained of (`-v error`), without the addresses that differ from run to run."""
    return [line.strip() for line in stderr.splitlines() if line.strip()]
