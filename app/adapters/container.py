"""Reads a file's header and packets with PyAV and prints them as JSON. Run as a child of its own; nothing is trusted.

    python -m app.adapters.container FILE OPTIONS MAX_SIDE MAX_PIXELS PACKETS

OPTIONS is a JSON object for the demuxer: which formats and protocols it may use, and more. No more than PACKETS packets
are read, or all of them where that is 0. The answer is {"format",
"header_s", "pictures": [...], "sounds": [...], "unknown": [kind]} or {"error"}. No picture is decoded before the size
in the header was found bearable ("oversize"), and then only the first one of each stream (for its turning).
Imports nothing of the program but PyAV, so that its start is cheap.
"""

from __future__ import annotations

import array
import json
import struct
import sys
from contextlib import suppress
from fractions import Fraction
from itertools import islice
from typing import Any

import av
import av.error
from av.audio.stream import AudioStream
from av.packet import Packet
from av.stream import Disposition, Stream
from av.video.stream import VideoStream

_TRIES = 200  # packets given to a decoder in the hope of a first picture


def main(file: str, options: dict[str, str], max_side: int, max_pixels: int, packets: int) -> dict[str, Any]:
    """All that the file's header and so many packets tell."""
    av.logging.set_level(None)
    try:
        with av.open(file, options=options, metadata_errors="ignore") as container:
            pictures = [_Picture(s, max_side, max_pixels) for s in container.streams.video if _known(s)]
            sounds = [_Sound(s) for s in container.streams.audio if _known(s)]
            if not any(p.oversize for p in pictures):
                _walk(container, [*pictures, *sounds], packets)
            for picture in pictures:
                picture.finish()
            header_s = None if container.duration is None else container.duration / 1e6
            return {
                "format": container.format.name,
                "header_s": header_s,
                "pictures": [p.told() for p in pictures],
                "sounds": [s.told() for s in sounds],
                "unknown": [s.type for s in container.streams if s.type in ("video", "audio") and not _known(s)],
            }
    except (av.error.FFmpegError, OSError, ValueError, MemoryError) as error:
        return {"error": str(error)}


def _known(stream: Stream) -> bool:
    """Whether there is a decoder for it."""
    return stream.codec_context is not None


def _walk(container: av.container.InputContainer, tracks: list[_Picture | _Sound], packets: int) -> None:
    """Every packet once, as far as the file can be read and is wanted."""
    by_index = {track.stream.index: track for track in tracks}
    with suppress(av.error.FFmpegError):
        for packet in islice(container.demux([track.stream for track in tracks]), packets or None):
            if packet.size:
                by_index[packet.stream_index].take(packet)


class _Picture:
    """One picture stream: its header, the first decoded picture, and the timestamps of what may be shown."""

    def __init__(self, stream: VideoStream, max_side: int, max_pixels: int) -> None:
        self.stream = stream
        context = stream.codec_context
        self.width, self.height = context.width, context.height
        longest, area = max(self.width, self.height), self.width * self.height
        self.oversize = longest > max_side or area > max_pixels
        context.options = {"max_pixels": str(max_pixels)}
        context.thread_count = 1
        self.first: av.VideoFrame | None = None
        self.tries = 0
        self.pts = array.array("q")
        self.keys = array.array("q")
        self.last: tuple[int, int] = (-(1 << 62), 0)
        self.newest = -(1 << 62)
        self.untimed = self.hidden = self.corrupt = self.back = self.early = self.torn = 0
        self.prefix = _prefix(context.name, context.extradata or b"")

    def take(self, packet: Packet[Any]) -> None:
        if packet.is_discard:
            self.hidden += 1
        elif (time := packet.pts if packet.pts is not None else packet.dts) is None:
            self.untimed += 1
        else:
            self._note(packet, time)
        self.corrupt += packet.is_corrupt
        self.torn += self.prefix > 0 and not _whole(memoryview(packet), self.prefix)
        if self.first is None and self.tries < _TRIES:
            self._decode(packet)

    def _note(self, packet: Packet[Any], time: int) -> None:
        self.pts.append(time)
        self.last = max(self.last, (time, packet.duration or 0))
        if packet.is_keyframe:
            self.keys.append(time)
        elif self.keys and time < self.keys[-1]:
            self.early += 1
        if packet.dts is not None:
            self.back += packet.dts <= self.newest
            self.newest = packet.dts

    def _decode(self, packet: Packet[Any] | None) -> None:
        self.tries += 1
        with suppress(av.error.FFmpegError):
            self.first = next(iter(self.stream.codec_context.decode(packet)), None)

    def finish(self) -> None:
        """Ask the decoder for what it held back: of a very short file, that is all."""
        if self.first is None and self.tries:
            self._decode(None)

    def told(self) -> dict[str, Any]:
        stream, context = self.stream, self.stream.codec_context
        return {
            "index": stream.index,
            "codec": context.name,
            "width": self.width,
            "height": self.height,
            "oversize": self.oversize,
            "attached": bool(stream.disposition & (Disposition.attached_pic | Disposition.timed_thumbnails)),
            "default": bool(stream.disposition & Disposition.default),
            "aspect": _text(stream.sample_aspect_ratio),
            "promised": stream.frames,
            "rates": [_text(rate) for rate in (stream.guessed_rate, stream.average_rate, stream.base_rate)],
            "tick": _text(stream.time_base),
            "profile": context.profile,
            "extradata": (context.extradata or b"").hex(),
            "last_ticks": self.last[1],
            "pts": sorted(self.pts),
            "keys": list(self.keys),
            **{name: getattr(self, name) for name in ("untimed", "hidden", "corrupt", "back", "early", "torn")},
            **_seen(self.first),
        }


def _seen(frame: av.VideoFrame | None) -> dict[str, Any]:
    """What only a decoded picture tells."""
    if frame is None:
        return {"decoded": False, "matrix": None}
    turn: Any = frame.side_data.get("DISPLAYMATRIX")
    return {
        "decoded": True,
        "matrix": None if turn is None else list(struct.unpack("=9i", bytes(turn)[:36])),
        "width": frame.width,
        "height": frame.height,
        "pixels": frame.format.name,
        "interlaced": frame.interlaced_frame,
        "space": int(frame.colorspace),
        "transfer": int(frame.color_trc),
        "primaries": int(frame.color_primaries),
        "range": int(frame.color_range),
    }


def _prefix(codec: str, extradata: bytes) -> int:
    """How many bytes tell the length of each unit in a packet; 0 where units are not so told."""
    if codec == "h264" and extradata[:1] == b"\1" and len(extradata) > 4:
        return (extradata[4] & 3) + 1
    if codec == "hevc" and extradata[:1] == b"\1" and len(extradata) > 21:
        return (extradata[21] & 3) + 1
    return 0


def _whole(packet: memoryview, prefix: int) -> bool:
    """Whether the units of a packet fill it exactly; in a damaged one they hardly ever do."""
    at, end = 0, len(packet)
    while at + prefix <= end:
        at += prefix + int.from_bytes(packet[at : at + prefix])
    return at == end


class _Sound:
    """One sound stream: its header, and from when to when it has sound."""

    def __init__(self, stream: AudioStream) -> None:
        self.stream = stream
        self.packets = 0
        self.first: int | None = None
        self.last: int | None = None
        self.leap = 0  # the longest silence between two packets, in ticks

    def take(self, packet: Packet[Any]) -> None:
        self.packets += 1
        if packet.pts is None:
            return
        if self.first is None:
            self.first = packet.pts
        if self.last is not None:
            self.leap = max(self.leap, abs(packet.pts - self.last))
        self.last = packet.pts + (packet.duration or 0)

    def told(self) -> dict[str, Any]:
        context, tick = self.stream.codec_context, self.stream.time_base
        return {
            "index": self.stream.index,
            "codec": context.name,
            "channels": context.channels,
            "rate": context.sample_rate,
            "default": bool(self.stream.disposition & Disposition.default),
            "packets": self.packets,
            "first_s": _seconds(self.first, tick),
            "end_s": _seconds(self.last, tick),
            "leap_s": _seconds(self.leap, tick),
        }


def _seconds(ticks: int | None, tick: Fraction | None) -> float | None:
    return None if ticks is None or tick is None else float(ticks * tick)


def _text(value: Fraction | None) -> str | None:
    return None if not value else f"{value.numerator}/{value.denominator}"


if __name__ == "__main__":
    told = main(sys.argv[1], json.loads(sys.argv[2]), *map(int, sys.argv[3:6]))
    json.dump(told, sys.stdout, separators=(",", ":"))
