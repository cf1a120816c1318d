"""The sound of a tape: cut by sample from the recordings, levelled, limited, and encoded so that it joins by copy.

Runs that follow one another without a cut are one *stretch*; between stretches there is silence. Sound is coded in
packets of 1024 samples, and a packet sounds right only after the one before it. Two ways lead to a whole tape:

- *by stretch*: each is encoded by itself, ends in silence, and stands at the packet nearest to its place. Its packets
  do not depend on where it stands, so an edit elsewhere costs nothing. It is at most 10.7 ms off, which never adds
  up, and the last 21 to 43 ms before a cut are silent.
- *continuous*: the tape is encoded as a whole, exact to the sample; every edit costs a second per minute of tape.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters import ffmpeg, pcm
from app.adapters.files import Library, digest_of, digest_of_file, partial, write_whole
from app.adapters.loudness import gain_db, loudness
from app.adapters.pcm import Range, Samples
from app.domain.tape import Plan, Shot, samples_at
from app.domain.timecode import Span

RECIPE = "2"
PACKET = 1024
"""Samples of one packet."""
LIMIT = "alimiter=limit=0.8:attack=5:release=50:level=false:latency=true"
"""0.8 of full scale, which holds -1 dBTP between the samples and after encoding; its look-ahead delays nothing."""


@dataclass(frozen=True)
class Stretch:
    """Sound of one recording (by digest) from sample `source` on, on samples `on_tape` of the tape."""

    recording: str
    source: int
    on_tape: Span

    def range(self, samples: int | None = None) -> Range:
        """What of the recording is heard: all of the stretch, or so many samples of it."""
        return Range(self.recording, self.source, self.on_tape.frames if samples is None else samples)


@dataclass(frozen=True)
class Sounding:
    """The first `packets` packets of a file, to stand from packet `slot` of the tape on."""

    path: Path
    slot: int
    packets: int


@dataclass(frozen=True)
class TapeSound:
    """The sound of a whole tape: what stands where, and a file of silence for all other packets."""

    parts: tuple[Sounding, ...]
    silence: Path
    samples: int

    @property
    def packets(self) -> int:
        """All packets of the tape: those of its samples, and one before them for the encoder's run-up."""
        return -(-self.samples // PACKET) + 1


def stretches(plan: Plan) -> tuple[Stretch, ...]:
    """Where sound of the recordings stands on the tape; runs without a cut between them are one."""
    found: list[Stretch] = []
    follows: tuple[str, int, int] | None = None
    for placed, piece in plan.placed():
        if not isinstance(piece, Shot) or not piece.sound:
            continue
        on_tape = Span(first=samples_at(placed.first, plan.house.rate), end=samples_at(placed.end, plan.house.rate))
        if follows == (piece.picture, piece.span.first, placed.first):
            before = found.pop()
            found.append(Stretch(before.recording, before.source, Span(first=before.on_tape.first, end=on_tape.end)))
        else:
            found.append(Stretch(piece.picture, samples_at(piece.span.first, plan.house.rate), on_tape))
        follows = (piece.picture, piece.span.end, placed.end)
    return tuple(found)


def tape_sound(plan: Plan, library: Library, *, continuous: bool = False) -> TapeSound:
    """The sound of a tape, from the cache or made now. Raises RenderFailed, Unready."""
    placed = stretches(plan)
    for recording in {stretch.recording for stretch in placed}:
        pcm.look_over(library.sound(recording))
    gains = [gain_db(loudness(stretch.range(), library)) for stretch in placed]
    samples = samples_at(plan.frames, plan.house.rate)
    silent = _encoded("silence", pcm.silence(4 * PACKET), 4 * PACKET, library)
    if continuous and placed:
        return TapeSound((_whole(placed, gains, samples, library),), silent, samples)
    parts = [_part(stretch, gain, library) for stretch, gain in zip(placed, gains, strict=True)]
    return TapeSound(tuple(part for part in parts if part is not None), silent, samples)


def nearest(stretch: Stretch) -> tuple[int, int]:
    """The packet of the tape at which a stretch stands by itself, and the blocks of 1024 samples that are heard of it.

    So few blocks that wherever it stands the stretch has ended, in silence, before the next one can begin.
    """
    return (stretch.on_tape.first + PACKET // 2) // PACKET, max(0, stretch.on_tape.frames // PACKET - 1)


def _part(stretch: Stretch, gain: float, library: Library) -> Sounding | None:
    """A stretch by itself; None when it is too short to be heard."""
    slot, blocks = nearest(stretch)
    if not blocks:
        return None
    heard = stretch.range(blocks * PACKET)
    made = itertools.chain(pcm.levelled(heard, gain, library), pcm.silence(PACKET))
    what = ["stretch", heard.recording, heard.first, heard.samples, gain]
    return Sounding(_encoded(what, made, heard.samples + PACKET, library), slot, blocks + 1)


def _whole(placed: tuple[Stretch, ...], gains: list[float], samples: int, library: Library) -> Sounding:
    places = [[each.recording, each.source, each.on_tape.first, each.on_tape.end] for each in placed]
    made = continuous_samples(placed, gains, samples, library)
    path = _encoded(["tape", places, gains, samples], made, samples, library)
    return Sounding(path, 0, -(-samples // PACKET) + 1)


def continuous_samples(
    placed: Iterable[Stretch], gains: Iterable[float], samples: int, library: Library
) -> Iterator[Samples]:
    """The sound of a whole tape from its first sample to its last, in blocks."""
    at = 0
    for stretch, gain in zip(placed, gains, strict=True):
        yield from pcm.silence(stretch.on_tape.first - at)
        yield from pcm.levelled(stretch.range(), gain, library)
        at = stretch.on_tape.end
    yield from pcm.silence(samples - at)


def _encoded(what: object, made: Iterator[Samples], samples: int, library: Library) -> Path:
    """Samples as an MP4 file of AAC, by the digest of what they are: from the cache, or limited and encoded now."""
    digest = digest_of({"sound": what, "encoder": f"{RECIPE} {LIMIT} {ffmpeg.SOUND} {ffmpeg.version()}"})
    path, seal = library.segment(digest, ".m4a"), library.segment(digest, ".sha256")
    if not _as_made(path, seal):
        with partial(path) as draft:
            form = ["-af", LIMIT, *ffmpeg.SOUND, *ffmpeg.BARE, "-f", "mp4", str(draft)]
            pcm.fed(made, samples, form, "Encoding the sound of the tape")
        write_whole(seal, digest_of_file(path).encode())
    return path


def _as_made(path: Path, seal: Path) -> bool:
    try:
        return digest_of_file(path) == seal.read_text()
    except OSError:
        return False
