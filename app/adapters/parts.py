"""Long pictures are prepared in parts. Each is kept as soon as it is made, so that work that broke off goes on there.

Each part is a run of its own from a key frame on. It sees the pictures around its frames on the file's own clock, so
that it shows in each frame what one run over the whole would show there; what is missing before it is filled in for
counting, and cut off. It is kept only when it has seen exactly the pictures that the file's packets announce, in one
unbroken row that holds all it needs, without a complaint. And it sees one frame of the next part, beside which a small
print of it is laid: where two parts meet, both must have seen the same, or one of them has lost the clock. Only files
whose packets can be trusted are taken; when a part is not sure, `Unsure` is raised, and the whole is to be made in one
run.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.adapters import child, ffmpeg, graph
from app.adapters.boxes import picture_track
from app.adapters.contents import Contents
from app.adapters.files import Library, digest_of, partial
from app.adapters.graph import Look
from app.domain.recording import House

LEAST_S = 600
"""Shorter pictures are made in one run; less than that is soon done again."""
LENGTH = 120 * ffmpeg.GROUP
"""Frames of a part; whole groups, so that parts join by copy."""

_WIDEST_S = 30
"""Key frames that lie farther apart make every part decode too much."""
_MARGIN = 2
"""House frames that a part sees beyond its own at either end: no rounding decides about what it shows."""
_PRINT_W, _PRINT_H = 96, 54
_FORMATS = ("mp4", "matroska")
_CODECS = ("h264", "hevc")


class Unsure(Exception):
    """What a part would show cannot be proved to be what the whole shows."""


@dataclass(frozen=True)
class Part:
    """House frames `first` to before `end` of a picture; of the last part the end is further than it reaches.

    They need the file's pictures number `needs` to before `stop`; None: to the end.
    """

    first: int
    end: int
    needs: int
    stop: int | None


@dataclass(frozen=True)
class Source:
    """A received file that is made in parts, and what it should become."""

    file: Path
    held: Contents
    look: Look
    house: House
    digest: str


def suits(held: Contents, look: Look) -> bool:
    """Whether a picture is long, and its packets and index say the truth about it."""
    picture = held.picture
    faults = (picture.hidden, picture.untimed, picture.corrupt, picture.back, picture.early, picture.torn)
    if held.expected_s < LEAST_S or any(faults) or held.jumps or held.opened_as.edits_ignored:
        return False
    if look.lag_s or look.fields or picture.codec not in _CODECS or not any(kind in held.format for kind in _FORMATS):
        return False
    whole = picture.promised in (0, len(picture.pts)) and bool((np.diff(picture.pts) > 0).all())
    widest = float(np.diff([*picture.keys, picture.pts[-1]]).max() * picture.tick)
    return whole and int(picture.keys[0]) == int(picture.pts[0]) and widest <= _WIDEST_S


def parts_of(held: Contents, house: House) -> list[Part]:
    """How a picture is divided. The last part takes what is left, and is no shorter than half of the others."""
    shown = (held.picture.pts - held.picture.pts[0]) * float(held.picture.tick * house.rate.fraction)
    frames = int(held.expected_s * house.rate.fraction)
    firsts = range(0, max(1, frames - LENGTH // 2), LENGTH)
    ends = [*firsts[1:], frames + 2 * ffmpeg.GROUP]
    return [_part(shown, first, end, end == ends[-1]) for first, end in zip(firsts, ends, strict=True)]


def _part(shown: NDArray[np.float64], first: int, end: int, is_last: bool) -> Part:
    needs = max(0, int(np.searchsorted(shown, first - _MARGIN, side="right")) - 1)
    stop = int(np.searchsorted(shown, end + _MARGIN, side="left")) + 1
    return Part(first, end, needs, None if is_last or stop >= len(shown) else stop)


def make_picture(source: Source, library: Library, tell: Callable[[float], None]) -> Path:
    """Make the parts that are not there yet, and join them; where the whole lies, until `forget_picture`.

    `tell` is told the share done. Raises Unsure, RenderFailed, Unready; what was made is kept for the next time.
    """
    whole, divided = _whole(source, library), parts_of(source.held, source.house)
    if not whole.exists():
        made = [_made(source, part, library, _within(tell, n, len(divided))) for n, part in enumerate(divided)]
        with partial(whole) as draft:
            _join(made, _frames(divided, made), source.house, draft)
        _forget_parts(source, library)
    return whole


def _frames(divided: list[Part], made: list[Path]) -> list[int]:
    """How many frames each part has. Raises Unsure where they do not fit each other."""
    frames = [picture_track(path).frames for path in made]
    if any(part.end - part.first != count for part, count in zip(divided[:-1], frames, strict=False)):
        raise Unsure
    if any(_prints(one)[1] != _prints(next_one)[0] for one, next_one in pairwise(made)):
        raise Unsure
    return frames


def _within(tell: Callable[[float], None], n: int, parts: int) -> Callable[[float], None]:
    """What is told of part `n` of so many, as a share of all."""
    return lambda share: tell((n + share) / parts)


def forget_picture(source: Source, library: Library) -> None:
    """Remove all that was made of a picture, once it is there or was made in one run."""
    _forget_parts(source, library)
    _whole(source, library).unlink(missing_ok=True)


def _forget_parts(source: Source, library: Library) -> None:
    for part in parts_of(source.held, source.house):
        picture = library.part(_digest(source, part))
        picture.unlink(missing_ok=True)
        _print(picture).unlink(missing_ok=True)


def _whole(source: Source, library: Library) -> Path:
    divided = parts_of(source.held, source.house)
    return library.part(digest_of([_digest(source, part) for part in divided]))


def _digest(source: Source, part: Part) -> str:
    made_by = [source.digest, ffmpeg.version(), *_graph(source, part)]
    return digest_of([*made_by, part.needs, ffmpeg.house_video_options(source.house)])


def _made(source: Source, part: Part, library: Library, tell: Callable[[float], None]) -> Path:
    """A part, made unless it is there."""
    target = library.part(_digest(source, part))
    if target.exists():
        return target
    with partial(target) as draft, partial(_print(target)) as looks:
        times = draft.with_name(f"times-{draft.name}")
        try:
            _encode(source, part, _Drafts(draft, looks, times), tell)
            _prove(source.held, part, times)
        finally:
            times.unlink(missing_ok=True)
    return target


def _print(picture: Path) -> Path:
    """Beside a part: what its first frame looks like, and the one after its last."""
    return picture.with_suffix(".print")


def _prints(picture: Path) -> tuple[bytes, bytes]:
    both = _print(picture).read_bytes()
    size = _PRINT_W * _PRINT_H
    return both[:size], both[size:]


@dataclass(frozen=True)
class _Drafts:
    """What a run writes: the picture, its print, when each of the source's pictures is shown."""

    picture: Path
    looks: Path
    times: Path


def _encode(source: Source, part: Part, drafts: _Drafts, tell: Callable[[float], None]) -> None:
    house, length_s = source.house, float(source.house.rate.seconds(part.end - part.first))
    timescale = str(ffmpeg.track_timescale(house.rate))
    command = [
        *(ffmpeg.program(), *ffmpeg.QUIET, "-max_error_rate", "1", "-progress", "pipe:1"),
        *graph.source(source.file, source.held, *_seek(source.held, part)),
        *("-filter_complex", ";".join(_graph(source, part)), *graph.times_output("[times]", str(drafts.times))),
        *("-map", "[picture]", *ffmpeg.house_video_options(house), "-video_track_timescale", timescale),
        *(*ffmpeg.BARE, "-f", "mp4", str(drafts.picture)),
        *("-map", "[looks]", "-fps_mode", "passthrough", "-f", "rawvideo", str(drafts.looks)),
    ]
    finished = child.run(
        command,
        cpu_s=_cpu_s(source, part),
        file_size=_bytes(house, part),
        on_progress=lambda done_s: tell(min(1.0, done_s / length_s)),
    )
    if finished.check("Preparing the recording").stderr.strip():
        raise Unsure


def _seek(held: Contents, part: Part) -> list[str]:
    """To the last key at or before the first picture that is needed, on the file's own clock."""
    at = ["-ss", f"{float(int(held.picture.pts[part.needs]) * held.picture.tick):.6f}"] if part.needs else []
    return ["-copyts", "-seek_timestamp", "1", "-noaccurate_seek", *at]


def _graph(source: Source, part: Part) -> list[str]:
    picture = source.held.picture
    stop = "" if part.stop is None else f"trim=end_pts={int(picture.pts[part.stop])},"
    house = graph.house_picture(source.held, source.look.fields, source.house, (part.first, part.end + 1))
    frames = part.end - part.first
    looks = f"select='eq(n,0)+eq(n,{frames})',scale={_PRINT_W}:{_PRINT_H}:flags=area,format=gray"
    return [
        f"[0:{picture.index}]{stop}split=2[times][stored]",
        f"[stored]{house},split=2[long][seen]",
        f"[long]trim=end_frame={frames}[picture]",
        f"[seen]{looks}[looks]",
    ]


def _prove(held: Contents, part: Part, times: Path) -> None:
    """Raises Unsure unless the part saw exactly the file's pictures, from one before it to the last that it needs."""
    lines = times.read_text().split()
    pts = held.picture.pts
    if not lines or Fraction(lines[1]) != held.picture.tick:
        raise Unsure
    seen = np.array(lines[::2], np.int64)
    first, end = int(np.searchsorted(pts, seen[0])), len(pts) if part.stop is None else part.stop
    if first > part.needs or not np.array_equal(seen, pts[first:end]):
        raise Unsure


def _join(parts: list[Path], frames: list[int], house: House, target: Path) -> None:
    rate = [house.rate.num, house.rate.den]
    pieces = [[str(path), 0, count] for path, count in zip(parts, frames, strict=True)]
    job = {"out": str(target), "title": "", "rate": rate, "timescale": ffmpeg.track_timescale(house.rate)}
    job |= {"parts": pieces, "sounds": [], "silence": "", "samples": 0, "chapters": []}
    size = sum(path.stat().st_size for path in parts)
    told = child.run(
        child.python("app.adapters.join"),
        cpu_s=60 + sum(frames) / 100,
        file_size=size + size // 4 + (64 << 20),
        stdin=json.dumps(job).encode(),
    ).check("Joining the parts of the recording")
    if json.loads(told.stdout)["pictures"] != sum(frames):
        raise Unsure


def _cpu_s(source: Source, part: Part) -> float:
    """Generous, as for the whole: for decoding from the key before it on, and a tenth of a second for each frame."""
    picture, house = source.held.picture, source.house
    decoded = (part.end - part.first) / float(house.rate.fraction) + _WIDEST_S
    pictures = decoded / float(source.held.usual_gap) * picture.width * picture.height / 1280 / 720
    return 60 + pictures / 50 + (part.end - part.first) * (0.02 + house.width * house.height / 1280 / 720 / 10)


def _bytes(house: House, part: Part) -> int:
    return (64 << 20) + (part.end - part.first) * house.width * house.height // 4
