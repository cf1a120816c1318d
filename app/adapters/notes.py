"""What a supervisor should know of a file that was taken in: plain sentences, the grave ones first."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from app.adapters.contents import Contents
from app.adapters.graph import Fields
from app.adapters.timeline import Timeline

SOUND_UNREADABLE = "The sound could not be read; the recording was prepared without it."

_NOTICEABLE_S = 0.06
_PLACES = 3


def notes_on(held: Contents, timeline: Timeline, fields: Fields, complaints: list[str]) -> tuple[str, ...]:
    """Sentences on what is missing, damaged or was changed. `complaints`: what ffmpeg said while it read the file."""
    told = [*_losses(held, timeline, complaints), *_clock(held, timeline)]
    told += [SOUND_UNREADABLE] if SOUND_UNREADABLE in complaints else _sound(held, timeline)
    told += _picture(held, fields)
    return tuple(told)


def _losses(held: Contents, timeline: Timeline, complaints: list[str]) -> list[str]:
    picture, length = held.picture, float(timeline.duration)
    promised = picture.promised * float(held.usual_gap)
    told = []
    broken = picture.promised > len(picture.pts) + picture.hidden + 1
    if broken:
        told.append(f"The file breaks off: {length:.1f} s of {promised:.1f} s could be read.")
    gaps = _gaps(timeline, float(held.usual_gap))
    if lost := (0 if broken else _lost(held, timeline)):
        where = f", {gaps}; the picture before is held there" if gaps else ""
        told.append(f"The file is damaged: {lost} {'picture' if lost == 1 else 'pictures'} could not be read{where}.")
    elif not broken and (picture.torn or any(_of_picture(line, picture.codec) for line in complaints)):
        told.append("The file is damaged in places; pictures there may look torn.")
    return told


def _lost(held: Contents, timeline: Timeline) -> int:
    """Pictures that the file holds but that cannot be shown; codecs with hidden helper pictures are not counted."""
    return 0 if held.picture.codec in ("vp8", "libvpx") else len(held.picture.pts) - len(timeline.ticks)


def _gaps(timeline: Timeline, usual: float) -> str:
    """Where pictures are missing, in seconds of the picture."""
    times = (timeline.ticks - timeline.ticks[0]) * float(timeline.tick)
    wide = np.flatnonzero(np.diff(times) > 1.5 * usual)
    places = [f"{times[i] + usual:.2f} s to {times[i + 1]:.2f} s" for i in wide[:_PLACES]]
    return ("from " + ", ".join(places) + (" and elsewhere" if len(wide) > _PLACES else "")) if places else ""


def _of_picture(line: str, codec: str) -> bool:
    return line.startswith((f"[{codec} @", f"[dec:{codec}")) or "corrupt decoded frame" in line


def _clock(held: Contents, timeline: Timeline) -> list[str]:
    told = []
    length = float(timeline.duration)
    if held.jumps:
        told.append("The clock of the file jumps; the pictures were put one after the other.")
    elif held.header_s and held.header_s > 2 * length + 60:
        told.append(f"The file says that it lasts {_hours(held.header_s)}; its pictures last {length:.1f} s.")
    return told


def _hours(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def _sound(held: Contents, timeline: Timeline) -> list[str]:
    sound = held.sound
    if sound is None:
        return ["There is no sound."]
    told = []
    if held.sounds > 1:
        told.append(f"The file has {held.sounds} sound tracks; the {_which(held)} was kept.")
    if not held.jumps:
        told += _offsets(sound.first_s, sound.end_s, *_span(held, timeline.duration))
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
