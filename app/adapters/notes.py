"""What a supervisor should know of a file that was taken in: plain sentences, the grave ones first."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from app.adapters.contents import Contents
from app.adapters.timeline import Timeline
from app.adapters.weave import Fields
from app.domain.recording import Source

SOUND_UNREADABLE = "The sound could not be read; the recording was prepared without it."

_NOTICEABLE_S = 0.06
_PLACES = 3
_STATING = ("matroska,webm", "flv", "asf", "ogg")
"""Formats whose header states a length that does not come from what is there."""
_WITH_HELPERS = ("vp8", "libvpx")
"""Codecs with packets that hold no picture to be shown."""


def notes_on(
    held: Contents, source: Source, timeline: Timeline, fields: Fields, complaints: list[str]
) -> tuple[str, ...]:
    """Sentences on what is missing, damaged or was changed. `complaints`: what ffmpeg said while it read the file."""
    told = [*_broken_off(held, source), *_losses(held, source, timeline, complaints), *_clock(held, source)]
    unread = SOUND_UNREADABLE in complaints or (held.sound is None and held.sound_unknown)
    told += [SOUND_UNREADABLE] if unread else _sound(held, source)
    return (*told, *_picture(held, fields))


def _broken_off(held: Contents, source: Source) -> list[str]:
    """What the index or the header promised and the file does not hold."""
    picture, length = held.picture, float(source.duration)
    promised = picture.promised * float(held.usual_gap)
    if picture.promised > len(picture.pts) + picture.hidden + picture.untimed + 1:
        return [f"The file breaks off: {length:.1f} s of {promised:.1f} s could be read."]
    told = held.header_s or 0.0
    end = max(length, held.sound.end_s if held.sound else 0.0)
    if held.opened_as.demuxers in _STATING and end < told - max(0.5, told / 20) and told < 2 * length + 60:
        return [f"The file says that it lasts {told:.1f} s, but {length:.1f} s could be read. It may have broken off."]
    return []


def _losses(held: Contents, source: Source, timeline: Timeline, complaints: list[str]) -> list[str]:
    """What lies between the first picture and the last and cannot be shown, or not well."""
    lost, where = _gaps(source, timeline)
    if lost:
        pictures = "1 picture is" if lost == 1 else f"{lost} pictures are"
        return [f"{pictures} missing or cannot be read, {where}; the one before is held there."]
    unseen = len(held.picture.pts) - len(timeline.ticks)
    if unseen > 0 and held.picture.codec not in _WITH_HELPERS and not _broken_off(held, source):
        pictures = "1 picture" if unseen == 1 else f"{unseen} pictures"
        return [f"{pictures} at the beginning or end cannot be shown; the file was cut out of another or is damaged."]
    if held.picture.torn or any(_of_picture(line, held.picture.codec) for line in complaints):
        return ["The file is damaged in places; pictures there may look torn."]
    return []


def _gaps(source: Source, timeline: Timeline) -> tuple[int, str]:
    """How many frames of a constant rate have no picture, and where, in seconds of the picture."""
    if source.rate is None:
        return 0, ""
    gap = float(1 / source.rate.fraction)
    times = (timeline.ticks - timeline.ticks[0]) * float(timeline.tick)
    steps = np.round(np.diff(times) / gap).astype(int)
    wide = np.flatnonzero(steps > 1)
    places = [f"{times[i] + gap:.2f} s to {times[i + 1]:.2f} s" for i in wide[:_PLACES]]
    where = "from " + " and ".join(places) + (" and elsewhere" if len(wide) > _PLACES else "")
    return int((steps[wide] - 1).sum()), where


def _of_picture(line: str, codec: str) -> bool:
    return line.startswith((f"[{codec} @", f"[dec:{codec}")) or "corrupt decoded frame" in line


def _clock(held: Contents, source: Source) -> list[str]:
    length = float(source.duration)
    if held.jumps:
        return ["The clock of the file jumps; the pictures were put one after the other."]
    if held.header_s and held.header_s > 2 * length + 60:
        return [f"The file says that it lasts {_hours(held.header_s)}; its pictures last {length:.1f} s."]
    return ["The file states a wrong length; it was read to its end."] if held.opened_as.edits_ignored else []


def _hours(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def _sound(held: Contents, source: Source) -> list[str]:
    sound = held.sound
    if sound is None:
        return ["There is no sound."]
    told = []
    if held.sounds > 1:
        told.append(f"The file has {held.sounds} sound tracks; the {_which(held)} was kept.")
    if not held.jumps:
        told += _offsets(sound.first_s, sound.end_s, *_span(held, source.duration))
    return told


def _which(held: Contents) -> str:
    return "default one" if held.sound is not None and held.sound.default else "first"


def _span(held: Contents, duration: Fraction) -> tuple[float, float]:
    """From when to when the picture is shown, on the clock that the sound's times are on."""
    first = float(int(held.picture.pts[0]) * held.picture.tick) if len(held.picture.pts) else 0.0
    return first, first + float(duration)


def _offsets(sound_first: float, sound_end: float, first: float, end: float) -> list[str]:
    told = []
    if sound_first - first > _NOTICEABLE_S:
        told.append(f"The sound starts {sound_first - first:.1f} s after the picture.")
    elif first - sound_first > _NOTICEABLE_S + 0.06:
        told.append(f"The sound starts {first - sound_first:.1f} s before the picture; that part was left out.")
    if sound_end - end > 0.2:
        told.append(f"The sound goes on {sound_end - end:.1f} s after the picture; that part was left out.")
    elif end - sound_end > 0.2:
        told.append(f"The sound ends {end - sound_end:.1f} s before the picture; the rest is silent.")
    return told


def _picture(held: Contents, fields: Fields) -> list[str]:
    picture = held.picture
    facts = {
        "Filmed interlaced; the two fields of each picture were made one.": fields is not None,
        "Filmed in high dynamic range; brightness and colours were brought to those of ordinary screens.": bool(
            picture.wide_light
        ),
        "Filmed mirrored, as front cameras do; shown as the file asks.": _mirrored(picture.turn),
        f"{held.pictures} moving pictures are in the file; the main one was kept.": held.pictures > 1,
    }
    return [words for words, true in facts.items() if true]


def _mirrored(turn: tuple[str, ...]) -> bool:
    return turn in (("hflip",), ("vflip",), ("transpose=cclock_flip",), ("transpose=clock_flip",))
