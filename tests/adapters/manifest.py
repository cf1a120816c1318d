"""The manifest of odd uploads, and what it says of a file beside what was made of that file.

Whatever does not fit raises AssertionError.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from fractions import Fraction
from pathlib import Path
from typing import Any

from app.actions.recording import Received
from app.adapters import ffmpeg
from app.domain.recording import House
from app.domain.timecode import Rate
from tests.adapters import video

SHARED = Path(__file__).parents[3] / "shared" / "media" / "inputs"
HOUSE = House(width=320, height=180, rate=Rate(num=30))
ONE = Fraction(1, 30)
DAMAGED = {"corrupt_middle.mp4": range(41, 50)}
"""Stamps that need not be readable; a held or torn picture is right there."""


def entries() -> list[dict[str, Any]]:
    """The manifest's entries, each file once."""
    if not SHARED.is_dir():
        return []
    listed: list[dict[str, Any]] = json.loads((SHARED / "manifest.json").read_text())["files"]
    return list({entry["file"]: entry for entry in reversed(listed)}.values())


def check_source(received: Received, expected: dict[str, Any]) -> None:
    """Size, frames, length, rate and sound of the file are what the manifest says."""
    source = received.source
    assert source is not None
    assert (source.width, source.height) == (expected["display_width"], expected["display_height"])
    assert source.frames == (expected["frames"] or source.frames)
    if expected["duration"] is not None:
        assert abs(source.duration_s - expected["duration"]) <= expected["duration_tolerance"]
    if expected["fps"] is not None:
        assert source.rate == str(Rate.model_validate(expected["fps"]))
    if expected["timeline"] is not None:
        assert source.rate is None
    assert source.sound == bool(expected["audio_streams"])


def check_pictures(received: Received, entry: dict[str, Any]) -> None:
    """Each house picture shows the stamp that is due at its time, within one house frame, and none is skipped."""
    assert received.prepared is not None
    assert received.source is not None
    stamps = _stamps(received)
    assert len(stamps) == received.prepared.frames
    assert abs(len(stamps) * ONE - Fraction(received.source.duration_s)) <= ONE
    times, due = timeline(entry)
    excused = DAMAGED.get(entry["file"], range(0))
    for k, stamp in enumerate(stamps):
        low, high = (due[max(0, bisect_right(times, k * ONE + near) - 1)] for near in (-ONE, ONE))
        if set(range(low, high + 1)) & set(excused):
            continue
        assert stamp is not None, f"picture {k} cannot be read"
        assert low <= stamp <= high, f"picture {k} shows {stamp} instead of {low} to {high}"
    if received.source.rate is not None and Fraction(received.source.rate) <= 30 and entry["kind"] != "interlaced":
        assert set(due) - set(excused) <= set(stamps)


def _stamps(received: Received) -> list[int | None]:
    assert received.prepared is not None
    assert received.source is not None
    crop = ffmpeg.fitted(received.source.width, received.source.height, HOUSE)
    path = Path(received.prepared.path)
    return [video.read_stamp(picture) for picture in video.seen(path, HOUSE.width, HOUSE.height, crop=crop)]


def timeline(entry: dict[str, Any]) -> tuple[list[Fraction], list[int]]:
    """Times and the stamps shown from them on; of woven pictures, each field has its own."""
    expected = entry["expected"]
    if expected["timeline"] is not None:
        return [Fraction(str(time)) - Fraction(1, 100_000) for time, _ in expected["timeline"]], [
            stamp for _, stamp in expected["timeline"]
        ]
    first, last = expected["stamps"]
    fields = 2 if entry["kind"] == "interlaced" else 1
    rate = Fraction(expected["fps"] or 25) * fields
    return [k / rate for k in range(last - first + 1)], list(range(first, last + 1))


def check_sound(received: Received) -> None:
    """The sound is exactly as long as the picture, and its beeps fall on the white squares."""
    assert received.prepared is not None
    assert received.source is not None
    picture = Path(received.prepared.path)
    sidecar = picture.with_suffix(".wav")
    assert sidecar.exists() == received.source.sound
    if not received.source.sound:
        return
    sound = video.heard(sidecar)
    assert len(sound) == received.prepared.frames * 1600
    begins = video.beeps(sound)
    for shown, beep in zip(begins, video.beeps(video.heard(picture)), strict=True):
        assert abs(shown - beep) <= 0.005
    # A picture lasts 33 ms, and AVI with MP3 comes 22 ms late out of the file already.
    for white in _whites(received):
        near = min((abs(white - beep) for beep in begins), default=9.0)
        assert near <= 0.035 or white > max(begins) + 0.5


def _whites(received: Received) -> list[float]:
    """When the square in the middle turns white, in seconds of the house picture."""
    assert received.prepared is not None
    lit = [video.is_white(picture) for picture in video.seen(Path(received.prepared.path), HOUSE.width, HOUSE.height)]
    return [float(k * ONE) for k in range(1, len(lit)) if lit[k] and not lit[k - 1]]
