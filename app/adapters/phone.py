"""Phone cuts: what an official sees of a play in a quiz. Small, silent, and carrying nothing of their source.

Named by the digest of what made them, but never shown under it: the same play in two quizzes has the same digest, so
pages know a cut only by the random name of its look.
"""

from __future__ import annotations

from fractions import Fraction

from app.adapters import child, ffmpeg
from app.adapters.boxes import picture_track
from app.adapters.files import Library, digest_of, partial
from app.domain.errors import RenderFailed
from app.domain.guard import Cut
from app.domain.recording import House

RECIPE = 1
WIDTH, HEIGHT = 640, 360
CRF = 25


def phone_cut(cut: Cut, prepared: str, house: House, library: Library) -> str:
    """Make the cut of a prepared recording (by digest) unless it is there; its digest.

    Raises RenderFailed when it does not come out with its frames.
    """
    work = [RECIPE, ffmpeg.version(), prepared, cut.span.first, cut.span.end, cut.hold, WIDTH, HEIGHT, str(house.rate)]
    digest = digest_of(work)
    target = library.cut(digest)
    if target.exists():
        return digest
    with partial(target) as draft:
        command = [ffmpeg.program(), *ffmpeg.QUIET, *_arguments(cut, library, prepared, house), str(draft)]
        child.run(command, cpu_s=60 + cut.frames, file_size=64 << 20).check("Making a clip for phones")
        made = picture_track(draft).frames
        if made != cut.frames:
            raise RenderFailed(f"A clip for phones has {made} frames, {cut.frames} were planned.", permanent=True)
    return digest


def _arguments(cut: Cut, library: Library, prepared: str, house: House) -> list[str]:
    """Held frames are copies of the last one shown; nothing of the source but its pictures comes along."""
    early = float((cut.span.first - Fraction(1, 2)) / house.rate.fraction)
    seek = ["-ss", f"{early:.6f}"] if cut.span.first else []
    held = f",tpad=stop={cut.hold}:stop_mode=clone" if cut.hold else ""
    size = f"scale={WIDTH}:{HEIGHT}:force_original_aspect_ratio=decrease:force_divisible_by=2"
    bars = f"pad={WIDTH}:{HEIGHT}:-1:-1:black"
    graph = f"trim=end_frame={cut.span.frames}{held},{size},{bars},{ffmpeg.filter_tail(house)}"
    source = ffmpeg.guarded_input(library.picture(prepared), *seek)
    coded = ["-c:v", "libx264", "-preset", "medium", "-profile:v", "main", "-level", "3.1", "-crf", str(CRF)]
    steady = ["-maxrate", "900k", "-bufsize", "1800k", "-g", "60", "-pix_fmt", "yuv420p", "-fps_mode", "passthrough"]
    return [*source, "-map", "0:v:0", "-an", "-vf", graph, *coded, *steady, *ffmpeg.mp4_options(house.rate)]
