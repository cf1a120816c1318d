"""Filter graphs that set a source right: whole fields, upright, square pixels, ordinary colours, a rising clock."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.adapters import ffmpeg
from app.adapters.contents import CLOCK_JUMP_S, Contents, Picture
from app.adapters.weave import Fields
from app.domain.recording import House

INPUT = ("-noautorotate", "-reinit_filter", "0", "-max_pixels", "35389440")
"""Before the input: turns are made here; a change of size must not start the graph anew, for it counts pictures."""


@dataclass(frozen=True)
class Look:
    """What a look at the first pictures told.

    `first_s`: when the first one is shown, on ffmpeg's clock of the file. `fields`: how its lines are woven. `lag_s`:
    by how much the times of all but the first are late; AVI holds no times, and what is guessed for it is off by the
    decoder's delay.
    """

    first_s: float = 0.0
    fields: Fields = None
    lag_s: float = 0.0


_UNSQUEEZE = "zscale=transfer=linear:npl=100,format=gbrpf32le,zscale=primaries=bt709,tonemap=mobius:desat=0"
_ORDINARY = "zscale=transfer=bt709:matrix=bt709:range=limited,format=yuv420p"


def upright(picture: Picture, fields: Fields, size: tuple[int, int]) -> list[str]:
    """Filters that show the stored picture as it should be seen, at a given upright size, in bt709 of tv range."""
    width, height = size[::-1] if picture.lies else size
    # bwdif is a little finer on still parts, but takes what flickers from field to field for still, and weaves it.
    whole = [f"yadif=mode=send_frame:parity={fields}:deint=all"] if fields else []
    if picture.wide_light or picture.wide_colour:
        coloured = [f"scale={width}:{height}", *_ordinary_light(picture)]
    else:
        assumed = f":in_color_matrix={picture.assumed_matrix}" if picture.assumed_matrix else ""
        coloured = [f"scale={width}:{height}{assumed}:out_color_matrix=bt709:out_range=tv"]
    return [*whole, *coloured, *picture.turn]


def _ordinary_light(picture: Picture) -> list[str]:
    """From BT.2020 and high dynamic range to bt709; without it colours look washed out on every screen."""
    told = f"zscale=tin={picture.wide_light or 'bt709'}:min=2020_ncl:pin=2020"
    if picture.wide_light is None:
        return [f"{told}:t=linear,format=gbrpf32le,zscale=primaries=bt709", _ORDINARY]
    return [told, _UNSQUEEZE, _ORDINARY]


def house_picture(contents: Contents, fields: Fields, house: House, part: tuple[int, int] | None = None) -> str:
    """From decoded pictures to the house's constant rate and shape, on a clock that begins with the first of them.

    `part`: only house frames from the first to before the second number, of pictures that need not begin with the
    file's first one but keep its clock.
    """
    size = ffmpeg.fitted(*contents.picture.upright, house)
    shown = upright(contents.picture, fields, size)
    fast = contents.usual_gap < 1 / house.rate.fraction
    # Pictures that are dropped anyway need not be scaled; those shown twice are scaled once.
    at = next(i for i, step in enumerate(shown) if step.startswith("scale")) if fast else len(shown)
    start, cut = ("STARTPTS", "") if part is None else (int(contents.picture.pts[0]), _cut(*part))
    steady = f"setpts=PTS-({start}){_ahead(contents, house)},fps=fps={house.rate}:start_time=0{cut}"
    return ",".join([*shown[:at], steady, *shown[at:], ffmpeg.bars(*size, house), ffmpeg.filter_tail(house)])


def _cut(first: int, end: int) -> str:
    """House frames are counted from the file's first picture: what is missing before a part is filled, and cut off."""
    return f",trim=start_frame={first}:end_frame={end}"


def _ahead(contents: Contents, house: House) -> str:
    """Of pictures that come faster than the house's, the one due at a frame's instant is wanted, not a later one.

    The rate filter takes the last picture that rounds to a frame, up to half a frame late; moving all later by half a
    frame less half a picture makes it the last one due by then, whatever little the clock jitters.
    """
    late = (1 / house.rate.fraction - contents.usual_gap) / 2
    return f"+{float(late):.9f}/TB" if late > 0 else ""


def clock(contents: Contents, look: Look) -> list[str]:
    """The filters, if any are needed, that set the picture's clock right: no lag, no leaps, always rising."""
    lag = [f"setpts='if(N,PTS-{look.lag_s:.6f}/TB,0)'"] if look.lag_s else []
    leaps = [_closed("setpts", f"{float(contents.usual_gap)}/TB")] if contents.jumps else []
    return [*lag, *leaps]


def house_sound(contents: Contents, first_s: float, end_s: float) -> str:
    """Sound on the picture's clock: what is earlier than its first frame is cut, what starts later begins silent.

    `first_s`: when the first picture is shown on the file's clock; `end_s`: when no more sound is wanted (seconds).
    """
    closed = [_closed("asetpts", "NB_SAMPLES/SR/TB")] if contents.jumps else []
    placed = [f"atrim=start={first_s:.6f}:end={end_s:.6f}", f"asetpts=PTS-{first_s:.6f}/TB"]
    evened = ["aresample=48000:async=1000:first_pts=0", "aformat=sample_fmts=s16:channel_layouts=stereo"]
    return ",".join([*closed, *placed, *evened])


def _closed(setter: str, step: str) -> str:
    """The timestamp filter that keeps gaps as they are, unless they go backwards or leap: then one step."""
    gap = "PTS-PREV_INPTS"
    kept = f"if(between({gap},1,{CLOCK_JUMP_S:.0f}/TB),{gap},{step})"
    return f"{setter}='if(isnan(PREV_OUTPTS),PTS,PREV_OUTPTS+{kept})'"


def source(path: Path, contents: Contents, *options: str) -> list[str]:
    """The input arguments for a received file: opened as what it is, and as nothing else."""
    opened = contents.opened_as
    return ffmpeg.guarded_input(path, *INPUT, *opened.arguments, *options, formats=opened.demuxers)


def times_output(label: str, file: str) -> list[str]:
    """An output that shows nothing and writes the time of each picture it is given: `TICKS NUM/DEN` lines."""
    quiet = ["-fps_mode", "passthrough", "-enc_time_base:v", "filter", "-f", "null"]
    return ["-map", label, *quiet, "-stats_enc_pre:v", file, "-stats_enc_pre_fmt:v", "{pts} {tb}", "-"]
