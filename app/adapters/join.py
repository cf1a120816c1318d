"""Joins coded pictures and coded sound into one MP4 without decoding either. Run as a child of its own.

    python -m app.adapters.join < JOB

The job is JSON: {"out", "title", "rate": [num, den], "timescale", "parts": [[path, first, frames], ...], "sounds":
[[path, slot, packets], ...], "silence", "samples", "chapters": [[frame, title], ...]}. Where "silence" names no file,
the tape has no sound. Every picture and every packet of sound gets its place on the tape by counting; what does not
fit there (a lost picture, another decoder header) ends the work. Prints {"pictures", "sounds"}.
Imports nothing of the program but PyAV, so that its start is cheap.
"""

from __future__ import annotations

import itertools
import json
import sys
from collections.abc import Iterator
from contextlib import closing
from fractions import Fraction
from typing import TYPE_CHECKING, Any, TypeAlias

import av
import av.error
from av.container import InputContainer, OutputContainer
from av.packet import Packet
from av.stream import Stream

if TYPE_CHECKING:
    from av.container.core import Chapter  # known to its stubs only

Coded: TypeAlias = "Packet[Any]"

REORDER = 2
"""Frames by which coded pictures may be out of order in house form (two B-frames, one of them leaned on)."""
PACKET = 1024
"""Samples of one packet of sound."""
SAMPLE_RATE = 48_000
AT_HAND = 16
"""Files that are kept open at a time."""
GUARD = {"format_whitelist": "mov,mp4,m4a,3gp,3g2,mj2", "protocol_whitelist": "file"}


def main(job: dict[str, Any]) -> dict[str, int]:
    """Write the file that a job asks for; how many packets of each kind went in."""
    av.logging.set_level(None)
    ticks = str(job["timescale"])
    timing = {"video_track_timescale": ticks, "movie_timescale": ticks}
    options = {"movflags": "+faststart", "fflags": "+bitexact", **timing}
    with av.open(job["out"], "w", format="mp4", options=options) as out:
        out.metadata["title"] = job["title"]
        out.set_chapters(list(_chapters(job)))
        pictures = _pictures(job, _track(out, job["parts"][0][0], "video"))
        sounds = _sounds(job, _track(out, job["silence"], "audio")) if job["silence"] else iter(())
        return _interleaved(out, pictures, sounds, Fraction(*job["rate"]))


def _track(out: OutputContainer, path: str, kind: str) -> Stream:
    """A new track of the kind that a file has."""
    with _opened(path) as file:
        return out.add_stream_from_template(next(s for s in file.streams if s.type == kind), opaque=False)


def _opened(path: str) -> InputContainer:
    return av.open(f"file:{path}", options=GUARD)


class _Shelf:
    """Files that stay open for a while: opening one takes as long as reading some hundred packets of it."""

    def __init__(self) -> None:
        self._open: dict[str, InputContainer] = {}

    def taken(self, path: str) -> InputContainer:
        """The file, open; beyond `AT_HAND` of them the one that was wanted longest ago is closed."""
        container = self._open.pop(path, None) or _opened(path)
        self._open[path] = container
        if len(self._open) > AT_HAND:
            self._open.pop(next(iter(self._open))).close()
        return container

    def close(self) -> None:
        """Close all of them."""
        for container in self._open.values():
            container.close()


def _chapters(job: dict[str, Any]) -> Iterator[Chapter]:
    starts = [start for start, _ in job["chapters"]]
    ends = [*starts[1:], sum(frames for _, _, frames in job["parts"])]
    frame = 1 / Fraction(*job["rate"])
    for number, ((start, title), end) in enumerate(zip(job["chapters"], ends, strict=False)):
        yield {"id": number, "start": start, "end": end, "time_base": frame, "metadata": {"title": title}}


def _pictures(job: dict[str, Any], track: Stream) -> Iterator[Coded]:
    """All pictures of all parts, each on its frame of the tape."""
    rate = Fraction(*job["rate"])
    begins, header, one = 0, None, 1 / rate
    with closing(_Shelf()) as shelf:
        for path, first, frames in job["parts"]:
            container = shelf.taken(path)
            extradata = container.streams.video[0].codec_context.extradata
            if extradata != (header := header or extradata):
                raise ValueError(f"a piece at frame {begins} has another decoder header")
            for coded, (frame, packet) in enumerate(_stretch(container, first, frames, rate)):
                _placed(packet, begins + frame - first, begins + coded - REORDER, one, track)
                yield packet
            begins += frames


def _stretch(container: InputContainer, first: int, frames: int, rate: Fraction) -> Iterator[tuple[int, Coded]]:
    """The coded pictures of frames `first` to `first + frames`, with their numbers: each once, from a key on."""
    stream = container.streams.video[0]
    assert stream.time_base is not None
    ticks = 1 / (rate * stream.time_base)
    container.seek(round(first * ticks), stream=stream)
    seen: set[int] = set()
    for packet in container.demux(stream):
        frame = _frame(packet, ticks) if packet.size else -1
        if first <= frame < first + frames:
            if not seen and not (packet.is_keyframe and frame == first):
                raise ValueError(f"a piece does not begin with a key at frame {first}")
            seen.add(frame)
            yield frame, packet
        if len(seen) == frames:
            return
    raise ValueError(f"a piece has {len(seen)} of {frames} frames")


def _frame(packet: Coded, ticks: Fraction) -> int:
    """Which frame of its file a coded picture is; a frame lasts so many ticks."""
    if packet.pts is None:
        raise ValueError("a picture has no time")
    frame, rest = divmod(packet.pts * ticks.denominator, ticks.numerator)
    if rest:
        raise ValueError(f"a picture at {float(packet.pts * packet.time_base):.6f} s is not on the grid")
    return frame


def _placed(packet: Coded, shown: int, coded: int, frame: Fraction, track: Stream) -> None:
    if shown < coded:
        raise ValueError(f"frame {shown} comes too late in its file")
    packet.stream = track
    packet.time_base = frame
    packet.pts, packet.dts, packet.duration = shown, coded, 1


def _sounds(job: dict[str, Any], track: Stream) -> Iterator[Coded]:
    """All packets of sound up to the tape's last sample; the encoder's run-up lies before its first."""
    samples, sample = job["samples"], Fraction(1, SAMPLE_RATE)
    for number, data in enumerate(_packets(job, -(-samples // PACKET) + 1)):
        packet = Packet(data)
        packet.stream, packet.time_base, packet.is_keyframe = track, sample, True
        packet.pts = packet.dts = (number - 1) * PACKET
        packet.duration = min(PACKET, samples - packet.pts)
        yield packet


def _packets(job: dict[str, Any], total: int) -> Iterator[bytes]:
    """The data of each packet: of the part that stands there, else silence."""
    *_, silent = _coded_sound(job["silence"], 4)
    at = 0
    for path, slot, packets in [*job["sounds"], ["", total, 0]]:
        if slot < at:
            raise ValueError(f"two sounds stand at packet {slot}")
        yield from itertools.repeat(silent, slot - at)
        yield from _coded_sound(path, packets) if packets else ()
        at = slot + packets


def _coded_sound(path: str, packets: int) -> Iterator[bytes]:
    """The data of the first packets of a file."""
    found = 0
    with _opened(path) as container:
        for packet in container.demux(container.streams.audio[0]):
            if packet.size and found < packets:
                found += 1
                yield bytes(packet)
    if found < packets:
        raise ValueError(f"a sound has {found} of {packets} packets")


def _interleaved(
    out: OutputContainer, pictures: Iterator[Coded], sounds: Iterator[Coded], rate: Fraction
) -> dict[str, int]:
    """Write both, always the one that is due first, so that a player needs to look ahead only a little."""
    samples, frames = rate.denominator * SAMPLE_RATE, rate.numerator  # a frame, and a sample, in a common measure
    counts = {"pictures": 0, "sounds": 0}
    sound = next(sounds, None)
    for picture in pictures:
        while sound is not None and (sound.dts or 0) * frames <= (picture.dts or 0) * samples:
            counts["sounds"] += 1
            out.mux_one(sound)
            sound = next(sounds, None)
        counts["pictures"] += 1
        out.mux_one(picture)
    while sound is not None:
        counts["sounds"] += 1
        out.mux_one(sound)
        sound = next(sounds, None)
    return counts


if __name__ == "__main__":
    try:
        json.dump(main(json.load(sys.stdin)), sys.stdout)
    except (av.error.FFmpegError, OSError, ValueError) as error:
        sys.exit(str(error))
