"""What a file is, found without trusting it: by first bytes, then header and packets, then by decoding its pictures."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.adapters import child, ffmpeg, graph, sniff
from app.adapters.contents import MAX_PIXELS, MAX_SIDE, Contents, contents_of, refuse_length
from app.adapters.graph import Look
from app.adapters.timeline import Timeline, read_times, source_of
from app.adapters.weave import fields_of, weave
from app.domain.errors import RecordingRefused
from app.domain.recording import Source

_FIRST_PACKETS = 300
_SAMPLE = 48
_COLUMNS = 160
_WHOLE_CODECS = ("vp8", "vp9", "av1", "libdav1d", "gif", "libvpx-vp9", "libvpx")
_GIB = child.GIB


def probe(path: Path) -> Source:
    """The picture as it should be seen, its frames that can be shown and their length; RecordingRefused with reason.

    Decodes the whole picture once, so it takes a share of the recording's length; `contents` alone is quick.
    """
    held = contents(path)
    return source_of(held, decoded_times(path, held, look(path, held)))


def contents(path: Path, on_pulse: Callable[[], None] | None = None) -> Contents:
    """Header and packet times, read by a child under limits; RecordingRefused with the reason in words.

    `on_pulse` is called at least once a second meanwhile; what it raises passes on.
    """
    held = _read(path, 0, on_pulse)
    refuse_length(held)
    return held


def beginning(path: Path) -> Contents:
    """The same of the header and the first packets alone, in less than a second however long the file is."""
    return _read(path, _FIRST_PACKETS)


def _read(path: Path, packets: int, on_pulse: Callable[[], None] | None = None) -> Contents:
    opened_as = sniff.format_of(path)
    size = path.stat().st_size
    guards = {"format_whitelist": opened_as.demuxers, "protocol_whitelist": ffmpeg.PROTOCOLS}
    options = json.dumps({**guards, **dict(opened_as.options)})
    limits = (str(MAX_SIDE), str(MAX_PIXELS), str(packets))
    command = child.python("app.adapters.container", f"file:{path.absolute()}", options, *limits)
    finished = child.run(command, cpu_s=30 + 120 * size / _GIB, memory=_GIB // 2, file_size=0, on_pulse=on_pulse)
    if finished.undisturbed("Reading the file").status < 0:
        raise RecordingRefused("The file cannot be read with bearable time and memory. It is damaged or hostile.")
    return contents_of(json.loads(finished.check("Reading the file").stdout), opened_as)


def decoded_times(path: Path, held: Contents, look: Look) -> Timeline:
    """When each picture that can be shown is shown, by decoding all of them."""
    with tempfile.TemporaryDirectory() as folder:
        times = Path(folder) / "times"
        picture = f"[0:{held.picture.index}]{','.join(graph.clock(held, look)) or 'null'}[times]"
        command = [
            *(ffmpeg.program(), *ffmpeg.QUIET, "-max_error_rate", "1"),
            *graph.source(path, held),
            *("-filter_complex", picture, *graph.times_output("[times]", str(times))),
        ]
        child.run(command, cpu_s=decoding_s(held), file_size=_GIB).undisturbed("Reading the pictures")
        return read_times(times, held)


def decoding_s(held: Contents) -> float:
    """Generous CPU seconds for decoding: a minute, and a fiftieth of a second for each picture of 1280 x 720."""
    picture = held.picture
    return 60 + len(picture.pts) * picture.width * picture.height / 1280 / 720 / 50


def look(path: Path, held: Contents) -> Look:
    """Look at some first pictures: when they begin, how their fields lie; of long ones also at two later places."""
    first = _sampled(path, held, None)
    if not first.times:
        raise RecordingRefused("Not one picture in this file can be read. It is damaged or not complete.")
    places = [first]
    if (length := float(held.expected_s)) > 60 and held.picture.codec not in _WHOLE_CODECS:
        places += [_sampled(path, held, length / 3), _sampled(path, held, length * 2 / 3)]
    weaves = [place.weave for place in places if place.weave is not None]
    votes = [vote for place in places for vote in place.votes]
    fields = None if held.picture.codec in _WHOLE_CODECS else fields_of(weaves, votes, held.picture.interlaced)
    if held.opened_as.demuxers == "avi" and len(first.times) > 1:
        return Look(0.0, fields, max(0.0, round(first.times[1] - float(held.usual_gap), 6)))
    return Look(first.times[0], fields)


@dataclass(frozen=True)
class _Sample:
    """Some pictures in a row: their times (seconds, on ffmpeg's clock of the file), votes on fields, and weave."""

    times: list[float]
    votes: list[str]
    weave: float | None


def _sampled(path: Path, held: Contents, at_s: float | None) -> _Sample:
    """Look at pictures from a place on. The sound is opened too: the clock begins with whichever stream is first."""
    height = held.picture.height
    judged = "idet,metadata=mode=print:key=lavfi.idet.multiple.current_frame:file=pipe\\\\:1"
    grey = f"scale={_COLUMNS}:{height}:flags=neighbor,format=gray"
    shown = ("-frames:v", str(_SAMPLE), "-fps_mode", "passthrough", "-f")
    sound = held.sound and ("-map", f"0:{held.sound.index}", "-frames:a", "1", "-c:a", "copy", "-f", "null", "-")
    with tempfile.TemporaryDirectory() as folder:
        lines = Path(folder) / "lines"
        command = [
            *(ffmpeg.program(), *ffmpeg.QUIET),
            *graph.source(path, held, *(() if at_s is None else ("-ss", f"{at_s:.3f}"))),
            *("-filter_complex", f"[0:{held.picture.index}]split=2[a][b];[a]{judged}[judged];[b]{grey}[grey]"),
            *(
                "-map",
                "[judged]",
                *shown,
                "null",
                "-",
                "-map",
                "[grey]",
                *shown,
                "rawvideo",
                str(lines),
                *(sound or ()),
            ),
        ]
        looked = child.run(command, cpu_s=60, file_size=_GIB).undisturbed("Looking at the first pictures")
        told = looked.stdout.decode(errors="replace").split()
        raw = np.fromfile(lines, np.uint8) if lines.exists() else np.empty(0, np.uint8)
    whole = raw[: len(raw) // (height * _COLUMNS) * height * _COLUMNS].reshape(-1, height, _COLUMNS)
    times = [float(word.removeprefix("pts_time:")) for word in told if word.startswith("pts_time:")]
    return _Sample(times, [word.partition("=")[2] for word in told if "=" in word], weave(whole))
