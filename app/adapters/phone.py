"""Phone cuts: what an official sees of a play in a quiz. Small, and carrying nothing of their source.

Named by the digest of what made them, but never shown under it: the same play in two quizzes has the same digest, so
pages know a cut only by the random name of its look.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from app.adapters import child, effects, ffmpeg
from app.adapters.boxes import picture_track
from app.adapters.files import Library, digest_of, partial
from app.domain.errors import RenderFailed
from app.domain.guard import Cut
from app.domain.recording import House
from app.domain.tape import samples_at

RECIPE = 2
MOST = 400_000
"""Bytes of a cut: seven seconds come over a slow network while the look before them is taken."""
AT_HALF = 700_000
"""Bytes at the first try from which a smaller picture is clearer than one that is squeezed."""
VOICE = ("-c:a", "aac", "-b:a", "40k", "-ar", "48000", "-ac", "1")
FADE = 480
"""Samples over which the sound goes out before the decisive moment: a hundredth of a second, or it would click."""


@dataclass(frozen=True)
class Form:
    """Size of the picture, how good it may be (`crf`), and how many bits a second it may take at most."""

    width: int
    height: int
    crf: int
    most: int


CLEAR = Form(640, 360, 25, 900_000)
LEAN = Form(640, 360, 26, 350_000)
SMALL = Form(480, 270, 25, 350_000)


def phone_cut(cut: Cut, prepared: str, house: House, library: Library, *, has_sound: bool = False) -> str:
    """Make the cut of a prepared recording (by digest) unless it is there; its digest.

    A picture that moves too much for `MOST` bytes is made again, squeezed or smaller. Where the cut is to be heard, it
    has a track of sound also if the recording has none (`has_sound`), so that all cuts of a topic are alike.

    Raises RenderFailed when it does not come out with its frames.
    """
    boxes = [[blur.box.model_dump(), blur.span.first, blur.span.end] for blur in cut.blurs]
    work = [RECIPE, ffmpeg.version(), prepared, cut.span.first, cut.span.end, cut.hold, cut.heard, boxes, str(house)]
    digest = digest_of(work)
    target = library.cut(digest)
    if target.exists():
        return digest
    with partial(target) as draft:
        source = _source(cut, library, prepared, house, has_sound=has_sound)
        _made(cut, source, CLEAR, house, draft)
        if (size := draft.stat().st_size) > MOST:
            _made(cut, source, LEAN if size < AT_HALF else SMALL, house, draft)
    return digest


def _made(cut: Cut, source: list[str], form: Form, house: House, draft: Path) -> None:
    command = [ffmpeg.program(), *ffmpeg.QUIET, *source, *_arguments(cut, form, house), str(draft)]
    child.run(command, cpu_s=60 + cut.frames, file_size=64 << 20).check("Making a clip for phones")
    made = picture_track(draft).frames
    if made != cut.frames:
        raise RenderFailed(f"A clip for phones has {made} frames, {cut.frames} were planned.", permanent=True)


def _source(cut: Cut, library: Library, prepared: str, house: House, *, has_sound: bool) -> list[str]:
    """The inputs, and the graph of what is heard: up to the decisive moment, then silence to the end."""
    early = float((cut.span.first - Fraction(1, 2)) / house.rate.fraction)
    seek = ["-ss", f"{early:.6f}"] if cut.span.first else []
    picture = ffmpeg.guarded_input(library.picture(prepared), *seek)
    if cut.heard is None:
        return [*picture, "-map", "0:v:0", "-an"]
    first, heard, whole = (samples_at(at, house.rate) for at in (cut.span.first, cut.heard, cut.frames))
    if not (has_sound and heard):
        silence = f"anullsrc=r=48000:cl=mono,atrim=end_sample={whole}[heard]"
        return [*picture, "-filter_complex", silence, "-map", "0:v:0", "-map", "[heard]", *VOICE]
    out = f"afade=t=out:ss={max(0, heard - FADE)}:ns={FADE}"
    graph = f"[1:a]atrim=start_sample={first}:end_sample={first + heard},asetpts=N/SR/TB,aformat=channel_layouts=mono"
    graph += f",{out},apad=whole_len={whole}[heard]"
    sound = ffmpeg.guarded_input(library.sound(prepared), formats="wav")
    return [*picture, *sound, "-filter_complex", graph, "-map", "0:v:0", "-map", "[heard]", *VOICE]


def _arguments(cut: Cut, form: Form, house: House) -> list[str]:
    """Held frames are copies of the last one shown; nothing of the source but its pictures comes along."""
    hidden = effects.shown(cut.blurs, "", None, cut.span, cut.frames)
    held = [f"tpad=stop={cut.hold}:stop_mode=clone"] if cut.hold else []
    size = f"scale={form.width}:{form.height}:force_original_aspect_ratio=decrease:force_divisible_by=2"
    bars = f"pad={form.width}:{form.height}:-1:-1:black"
    graph = [f"trim=end_frame={cut.span.frames}", *hidden, *held, size, bars, ffmpeg.filter_tail(house)]
    coded = ["-c:v", "libx264", "-preset", "medium", "-profile:v", "main", "-level", "3.1", "-crf", str(form.crf)]
    steady = ["-maxrate", str(form.most), "-bufsize", str(form.most // 2), "-g", "60", "-pix_fmt", "yuv420p"]
    steady += ["-fps_mode", "passthrough", "-flags:v", "+bitexact"]
    return ["-vf", ",".join(graph), *coded, *steady, *ffmpeg.mp4_options(house.rate)]
