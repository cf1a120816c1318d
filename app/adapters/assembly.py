"""The finished tape: segments and sound joined into an MP4 that plays while it loads, captions, poster.

The three files appear together, each whole or not at all, the video last.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from app.adapters import child, cut, ffmpeg
from app.adapters.files import partial
from app.adapters.segments import Segment
from app.adapters.sound import TapeSound
from app.domain.errors import RenderFailed
from app.domain.tape import CUE_LENGTH, Cue, Plan
from app.domain.timecode import Rate

POSTER_QUALITY = 85
TOP = " line:5%"
"""Of a caption that would hide what stands at the foot of the picture."""


@dataclass(frozen=True)
class Files:
    """Where a tape lies, and beside it its captions (WebVTT) and its poster (JPEG)."""

    tape: Path
    captions: Path
    poster: Path


def files_beside(out: Path) -> Files:
    """The names that go with a tape's: the same stem with .vtt and .jpg."""
    return Files(out, out.with_suffix(".vtt"), out.with_suffix(".jpg"))


def assemble(plan: Plan, segments: Iterable[Segment], sound: TapeSound, out: Files) -> None:
    """Join a tape and write what goes with it. Raises RenderFailed, Unready; nothing new is left then."""
    made = list(segments)
    with ThreadPoolExecutor(1) as beside, ExitStack() as drafts:
        tape, captions, poster = (drafts.enter_context(partial(path)) for path in (out.tape, out.captions, out.poster))
        image = beside.submit(_poster, plan, made)
        _join(plan, made, sound, tape)
        _write(captions, vtt(plan.cues, plan.house.rate).encode())
        _write(poster, image.result())


def _poster(plan: Plan, segments: Iterable[Segment]) -> bytes:
    """The poster's frame, from the piece that it will be copied from: so it need not wait for the tape."""
    at = plan.poster
    for part in (part for each in segments for part in each.parts):
        if at < part.frames:
            return jpeg(cut.frame_image(part.path, part.first + at, plan.house))
        at -= part.frames
    raise RenderFailed(f"The tape has no frame {plan.poster} for its poster.", permanent=True)


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise RenderFailed(f"{path.name} could not be written: {error.strerror}.", permanent=False) from error


def _join(plan: Plan, segments: list[Segment], sound: TapeSound, out: Path) -> None:
    job = json.dumps(join_job(plan, segments, sound, out)).encode()
    inputs = [*(part.path for each in segments for part in each.parts), *(part.path for part in sound.parts)]
    command = child.python("app.adapters.join")
    done = child.run(command, cpu_s=60 + plan.frames / 200, file_size=_largest(inputs, plan.frames), stdin=job)
    _look_over(plan, sound, json.loads(done.check("Joining the tape").stdout), out)


def _largest(inputs: Iterable[Path], frames: int) -> int:
    """Bytes that the tape cannot reach, by what goes into it and a generous index."""
    return sum(path.stat().st_size for path in inputs) + frames * 1000 + (1 << 20)


def join_job(plan: Plan, segments: list[Segment], sound: TapeSound, out: Path) -> dict[str, object]:
    """What the joining child is told."""
    rate = plan.house.rate
    return {
        "out": str(out.absolute()),
        "title": plan.title,
        "rate": [rate.num, rate.den],
        "timescale": ffmpeg.track_timescale(rate),
        "parts": [[str(part.path.absolute()), part.first, part.frames] for each in segments for part in each.parts],
        "sounds": [[str(part.path.absolute()), part.slot, part.packets] for part in sound.parts],
        "silence": str(sound.silence.absolute()),
        "samples": sound.samples,
        "chapters": [[chapter.frame, chapter.title] for chapter in plan.chapters],
    }


def _look_over(plan: Plan, sound: TapeSound, told: dict[str, int], out: Path) -> None:
    """Read back what was written: a muxer's word on a full disk is not always heard."""
    frames = cut.track_of(out, "The tape").frames
    if not frames == told["pictures"] == plan.frames or told["sounds"] != sound.packets:
        what = f"The tape has {frames} frames and {told['sounds']} packets of sound"
        raise RenderFailed(f"{what}, {plan.frames} and {sound.packets} were planned.", permanent=True)


def milliseconds(frame: int, rate: Rate) -> int:
    """When a frame begins, rounded up: at that time it is this frame that is shown, not the one before."""
    return -int(-rate.seconds(frame) * 1000 // 1)


def vtt(cues: Iterable[Cue], rate: Rate) -> str:
    """Captions as WebVTT."""
    blocks = [
        f"{_time(cue.span.first, rate)} --> {_time(cue.span.end, rate)}{TOP if cue.top else ''}\n"
        f"{_escaped(two_lines(cue.text))}"
        for cue in cues
    ]
    return "\n\n".join(["WEBVTT", *blocks]) + "\n"


def _time(frame: int, rate: Rate) -> str:
    seconds, thousandths = divmod(milliseconds(frame, rate), 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{thousandths:03d}"


def two_lines(text: str) -> str:
    """A caption too long for one line, broken at the blank nearest to its middle."""
    blanks = [place for place, sign in enumerate(text) if sign == " "]
    if len(text) <= CUE_LENGTH // 2 or not blanks:
        return text
    middle = min(blanks, key=lambda place: abs(2 * place - len(text)))
    return f"{text[:middle]}\n{text[middle + 1 :]}"


def _escaped(text: str) -> str:
    """Signs that WebVTT would take for tags or for its arrow."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def jpeg(image: bytes) -> bytes:
    """A picture as a JPEG that shows while it loads."""
    data = io.BytesIO()
    with Image.open(io.BytesIO(image)) as picture:
        picture.convert("RGB").save(data, "JPEG", quality=POSTER_QUALITY, optimize=True, progressive=True)
    return data.getvalue()
