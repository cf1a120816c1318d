"""The sound of a tape: cut by sample from recordings and voices, levelled, limited, encoded so that it joins by copy.

What is heard without a cut is one *stretch*: runs that follow one another, and all of a step that a voice lies over,
with the sound of the game ducked under it. Between stretches there is silence. Sound is coded in packets of 1024
samples, and a packet sounds right only after the one before it. Two ways lead to a whole tape:

- *by stretch*: each is encoded by itself, ends in silence, and stands at the packet nearest to its place. Its packets
  do not depend on where it stands, so an edit elsewhere costs nothing, unless it would stand nearly half a packet off:
  then it begins half a packet late and stands exactly. So it is at most 9.3 ms off, which never adds up, and the last
  21 to 54 ms before a cut are silent.
- *continuous*: the tape is encoded as a whole, exact to the sample; every edit costs a second per minute of tape.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters import cache, ffmpeg, pcm
from app.adapters.files import Library, digest_of, digest_of_file, partial, write_whole
from app.adapters.loudness import gain_db, loudness
from app.adapters.pcm import Placed, Samples
from app.adapters.stretches import Sounded, Stretch, stretches
from app.domain.tape import Plan, samples_at

RECIPE = "3"
PACKET = 1024
"""Samples of one packet."""
FAR = 448
"""Samples, 9.3 ms: the codec blurs where a sound begins by a millisecond more, and 11 ms is as much as anybody sees."""
LIMIT = "alimiter=limit=0.8:attack=5:release=50:level=false:latency=true"
"""0.8 of full scale, which holds -1 dBTP between the samples and after encoding; its look-ahead delays nothing."""
DUCKED = (
    "asplit=2[both][too];[both]pan=stereo|c0=c0|c1=c1[game];[too]pan=stereo|c0=c2|c1=c3,asplit=2[voice][key];"
    "[game][key]sidechaincompress=threshold=0.03:ratio=6:attack=15:release=350:makeup=1[under];"
    f"[under][voice]amix=inputs=2:duration=first:normalize=0,{LIMIT}"
)
"""Channels 0 and 1 by about 12 dB softer while something is heard on channels 2 and 3, and both together."""


@dataclass(frozen=True)
class Sounding:
    """The first `packets` packets of a file, to stand from packet `slot` of the tape on."""

    path: Path
    slot: int
    packets: int


@dataclass(frozen=True)
class TapeSound:
    """The sound of a whole tape: what stands where, and a file of silence for all other packets.

    `mended`: how many files were damaged in the cache and were made again.
    """

    parts: tuple[Sounding, ...]
    silence: Path
    samples: int
    mended: int = 0

    @property
    def packets(self) -> int:
        """All packets of the tape: those of its samples, and one before them for the encoder's run-up."""
        return -(-self.samples // PACKET) + 1


@dataclass(frozen=True)
class _Mix:
    """The game and the voices over it, from sample 0 on. `heard`: how long; then silence, up to `samples` in all."""

    game: tuple[Placed, ...]
    voices: tuple[Placed, ...]
    heard: int
    samples: int

    def key(self) -> object:
        """All that decides how it sounds."""
        tracks = [[[p.range.recording, p.range.first, p.range.samples, p.gain_db, p.at] for p in track] for track in
                  (self.game, self.voices)]  # fmt: skip
        return [*tracks, self.heard, self.samples]

    def made(self, library: Library) -> Iterator[Samples]:
        """Its samples: of two channels, of four where there are voices."""
        game = self._track(self.game, library)
        return pcm.beside(game, self._track(self.voices, library)) if self.voices else game

    def _track(self, placed: tuple[Placed, ...], library: Library) -> Iterator[Samples]:
        rest = pcm.silence(self.samples - self.heard)
        return itertools.chain(pcm.track(placed, self.heard, library), rest)


def tape_sound(plan: Plan, library: Library, *, continuous: bool = False) -> TapeSound:
    """The sound of a tape, from the cache or made now. Raises RenderFailed, Unready."""
    placed = stretches(plan)
    for recording in {sounded.range.recording for stretch in placed for sounded in stretch.sounded}:
        pcm.look_over(library.sound(recording))
    samples = samples_at(plan.frames, plan.house.rate)
    silent, mended = _encoded(_Mix((), (), 4 * PACKET, 4 * PACKET), library)
    if continuous and placed:
        mix = _mixed(placed, 0, samples, samples, library)
        path, again = _encoded(mix, library)
        return TapeSound((Sounding(path, 0, -(-samples // PACKET) + 1),), silent, samples, mended + again)
    parts = [_part(stretch, library) for stretch in placed]
    made = [part for part in parts if part is not None]
    return TapeSound(tuple(part for part, _ in made), silent, samples, mended + sum(again for _, again in made))


def by_itself(stretch: Stretch) -> tuple[int, int, int]:
    """The sample of the tape from which a stretch by itself is heard, the packet at which it stands, and the blocks of
    1024 samples that are heard of it.

    So few blocks that wherever it stands the stretch has ended, in silence, before the next one can begin.
    """
    first, end = stretch.on_tape.first, stretch.on_tape.end
    if abs(_slot(first) * PACKET - first) > FAR:
        first += PACKET // 2
    return first, _slot(first), max(0, (end - first) // PACKET - 1)


def _slot(sample: int) -> int:
    return (sample + PACKET // 2) // PACKET


def _part(stretch: Stretch, library: Library) -> tuple[Sounding, bool] | None:
    """A stretch by itself, and whether it was mended; None when it is too short to be heard."""
    first, slot, blocks = by_itself(stretch)
    if not blocks:
        return None
    heard = blocks * PACKET
    path, mended = _encoded(_mixed([stretch], first, heard, heard + PACKET, library), library)
    return Sounding(path, slot, blocks + 1), mended


def _mixed(placed: Iterable[Stretch], first: int, heard: int, samples: int, library: Library) -> _Mix:
    """Stretches of a tape from its sample `first` on, each recording and each voice brought to one level."""

    def levelled(sounded: Iterable[Sounded]) -> tuple[Placed, ...]:
        return tuple(Placed(s.range, gain_db(loudness(s.range, library)), s.at - first) for s in sounded)

    listed = list(placed)
    game = levelled(bed for stretch in listed for bed in stretch.beds)
    return _Mix(game, levelled(voice for stretch in listed for voice in stretch.voices), heard, samples)


def _encoded(mix: _Mix, library: Library) -> tuple[Path, bool]:
    """A mix as an MP4 file of AAC, by the digest of what it is: from the cache, or limited and encoded now.

    And whether the cache held it, but not whole.
    """
    graph = DUCKED if mix.voices else LIMIT
    digest = digest_of({"sound": mix.key(), "encoder": f"{RECIPE} {graph} {ffmpeg.SOUND} {ffmpeg.version()}"})
    path, seal = library.segment(digest, ".m4a"), library.segment(digest, ".sha256")
    cache.used((path, seal), library)
    if _as_made(path, seal):
        return path, False
    damaged = path.exists() and seal.exists()
    with partial(path) as draft:
        form = ["-af", graph, *ffmpeg.SOUND, *ffmpeg.BARE, "-f", "mp4", str(draft)]
        channels = 4 if mix.voices else 2
        pcm.fed(mix.made(library), mix.samples, form, "Encoding the sound of the tape", channels=channels)
    write_whole(seal, digest_of_file(path).encode())
    return path, damaged


def _as_made(path: Path, seal: Path) -> bool:
    try:
        return digest_of_file(path) == seal.read_text()
    except OSError:
        return False
