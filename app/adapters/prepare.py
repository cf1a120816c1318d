"""A received file becomes a prepared recording: house picture, plain sound of equal length, and what was found.

One decode: picture, sound and the times of the source's pictures come from a single run; long pictures are made in
parts where that comes to the same (see parts.py), and the sound by itself. The sound is then set to the picture's exact
length and joined to it for browsers. The facts are written last, so that what has facts is whole.
A picture already in house form is copied, not encoded once more.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from app.adapters import child, ffmpeg, graph, parts, wave_file
from app.adapters.boxes import picture_track
from app.adapters.conform import departures
from app.adapters.contents import Contents
from app.adapters.files import Library, digest_of, digest_of_file, partial, write_whole
from app.adapters.graph import Look
from app.adapters.notes import SOUND_UNREADABLE, notes_on
from app.adapters.probe import contents, decoding_s, look
from app.adapters.timeline import Timeline, read_times, source_of
from app.domain.errors import RenderFailed
from app.domain.recording import House, Prepared

log = logging.getLogger("pennon.prepare")

RECIPE = 1
"""Raised when preparation would make something else of the same file. Existing work keeps its name."""

_SAMPLES = 2
_STEP_S = 0.05
"""A difference that is no step between picture and sound: two packets of AAC."""

_IN_PARTS, _DECODED = 0.92, 0.96
"""The shares of the work that are done once all parts of a picture are there, and once picture and sound are decoded;
the rest is joining them."""

Progress = Callable[[float], None]


@dataclass(frozen=True)
class _Work:
    """One preparation: what is read, what it should become, and where the drafts lie.

    `adopted`: its picture is taken as it is. `joined`: a picture that was made in parts.
    """

    file: Path
    house: House
    held: Contents
    look: Look
    adopted: bool
    draft: Path
    tell: Progress
    joined: Path | None = None

    @property
    def has_picture(self) -> bool:
        """Whether nothing but the sound is left to be decoded."""
        return self.adopted or self.joined is not None

    @property
    def picture(self) -> Path:
        """The encoded picture before the sound joins it."""
        return self.joined or self._beside("picture")

    @property
    def sound(self) -> Path:
        """The sound, as long as it happens to be."""
        return self._beside("sound")

    @property
    def times(self) -> Path:
        """When each of the source's pictures is shown."""
        return self._beside("times")

    @property
    def made(self) -> Path:
        """When each picture made is shown."""
        return self._beside("made")

    def _beside(self, what: str) -> Path:
        return self.draft.with_name(f"{what}-{self.draft.name}")


def prepare(
    source_file: Path, house: House, library: Library, on_progress: Progress | None = None, *, sha256: str | None = None
) -> Prepared:
    """Make (or find) the prepared recording of a file. `on_progress` is told the share done, from 0 to 1.

    It is told so at least every few seconds, also while nothing is done but reading; what it raises ends the work.
    RecordingRefused: the file is no recording. RenderFailed, Unready: the work broke off. In either case nothing of it
    remains. `sha256`: the digest of the file's bytes, where it is known.
    """
    tell = on_progress or _unheard
    digest = prepared_digest(sha256 or digest_of_file(source_file, lambda: tell(0.0)), house)
    facts = library.facts(digest)
    if facts.exists():
        return Prepared.model_validate_json(facts.read_bytes())
    library.sweep()
    held = contents(source_file, lambda: tell(0.0))
    adopted = not departures(held, house) and _keys_read(source_file, held)
    seen = Look() if adopted else look(source_file, held)
    with partial(library.picture(digest)) as draft:
        prepared = _made(digest, _Work(source_file, house, held, seen, adopted, draft, tell), library)
    write_whole(facts, prepared.model_dump_json().encode())
    if parts.suits(held, seen):
        parts.forget_picture(parts.Source(source_file, held, seen, house, digest), library)
    return prepared


def prepared_digest(sha256: str, house: House) -> str:
    """The name of what preparation makes of a file with this digest."""
    return digest_of({"source": sha256, "house": house, "recipe": RECIPE})


def _unheard(_share: float) -> None:
    """Progress that nobody wants to know."""


def _made(digest: str, work: _Work, library: Library) -> Prepared:
    """Write the finished picture to the draft, and the sound to its place."""
    with ExitStack() as drafts:
        for draft in (work.picture, work.sound, work.times, work.made):
            drafts.callback(draft.unlink, missing_ok=True)
        work, complaints = _decoded(_made_in_parts(digest, work, library))
        timeline, frames = _found(work)
        if work.held.sound:
            wave_file.set_length(work.sound, wave_file.samples_of(frames, work.house.rate))
        _join(work)
        _look_over(work, frames)
        if work.held.sound:
            with partial(library.sound(digest)) as sound:
                work.sound.rename(sound)
    source = source_of(work.held, timeline)
    return Prepared(
        digest=digest,
        house=work.house,
        frames=frames,
        sound=work.held.sound is not None,
        source=source,
        notes=notes_on(work.held, source, timeline, work.look.fields, complaints),
    )


def _made_in_parts(digest: str, work: _Work, library: Library) -> _Work:
    """Make a long picture in parts, where that is sure to come to the same; else it is made with the sound."""
    if work.adopted or not parts.suits(work.held, work.look):
        return work
    source = parts.Source(work.file, work.held, work.look, work.house, digest)
    try:
        return replace(work, joined=parts.make_picture(source, library, lambda share: work.tell(_IN_PARTS * share)))
    except parts.Unsure:
        log.warning("%s is prepared in one run: its parts are not sure to be what the whole is", digest)
    except RenderFailed as error:
        if not error.permanent:
            raise
        log.warning("%s is prepared in one run: %s", digest, error)
    return work


def _decoded(work: _Work) -> tuple[_Work, list[str]]:
    """Do the one decode; without the sound where it is the sound that cannot be read. What ffmpeg complained of."""
    if work.has_picture and not work.held.sound:
        return work, []
    try:
        return work, _decode(work)
    except RenderFailed as error:
        if not (work.held.sound and error.permanent):
            raise
    mute = replace(work, held=replace(work.held, sound=None))
    return mute, [SOUND_UNREADABLE, *(_decode(mute) if not work.has_picture else [])]


def _decode(work: _Work) -> list[str]:
    command = [
        *(ffmpeg.program(), *ffmpeg.QUIET, "-max_error_rate", "1", "-progress", "pipe:1"),
        *graph.source(work.file, work.held),
        *("-filter_complex", ";".join([*_picture_graph(work), *_sound_graph(work)])),
        *([] if work.has_picture else _picture_outputs(work)),
        *(_sound_output(work) if work.held.sound else []),
    ]
    finished = _run(command, work, _IN_PARTS if work.joined else 0.0, _DECODED)
    return ffmpeg.error_lines(finished.check("Preparing the recording").stderr)


def _run(command: list[str], work: _Work, since: float, until: float) -> child.Finished:
    """Run ffmpeg on the whole length of a work, from one share of all that is to be done to another."""
    expected_s = float(work.held.expected_s)

    def tell(done_s: float) -> None:
        work.tell(since + (until - since) * min(1.0, done_s / expected_s))

    return child.run(command, cpu_s=_cpu_s(work), file_size=_bytes(work), on_progress=tell)


def _picture_graph(work: _Work) -> list[str]:
    """The source's pictures on a rising clock, twice: their times to be noted, and to be made house pictures."""
    if work.has_picture:
        return []
    steady = "".join(f"{step}," for step in graph.clock(work.held, work.look))
    return [
        f"[0:{work.held.picture.index}]{steady}split=2[times][stored]",
        f"[stored]{graph.house_picture(work.held, work.look.fields, work.house)}[picture]",
    ]


def _sound_graph(work: _Work) -> list[str]:
    if work.held.sound is None:
        return []
    end_s = work.look.first_s + float(work.held.expected_s) + 1
    return [f"[0:{work.held.sound.index}]{graph.house_sound(work.held, work.look.first_s, end_s)}[sound]"]


def _picture_outputs(work: _Work) -> list[str]:
    noted = ["-stats_enc_pre:v", str(work.made), "-stats_enc_pre_fmt:v", "{pts} {tb}"]
    timescale = str(ffmpeg.track_timescale(work.house.rate))
    encoded = [*ffmpeg.house_video_options(work.house), *noted, "-video_track_timescale", timescale]
    return [
        *graph.times_output("[times]", str(work.times)),
        *("-map", "[picture]", *encoded, *ffmpeg.BARE, "-f", "mp4", str(work.picture)),
    ]


def _sound_output(work: _Work) -> list[str]:
    return ["-map", "[sound]", "-c:a", "pcm_s16le", *ffmpeg.BARE, "-f", "wav", str(work.sound)]


def _cpu_s(work: _Work) -> float:
    """Generous: a tenth of a second for each house picture of 1280 x 720 beside the decoding."""
    house = work.house
    frames = float(work.held.expected_s * house.rate.fraction)
    return decoding_s(work.held) + frames * (0.02 + house.width * house.height / 1280 / 720 / 10)


def _bytes(work: _Work) -> int:
    """No more than two bits for each pixel that the house shows."""
    house = work.house
    pixels = float(work.held.expected_s * house.rate.fraction) * house.width * house.height
    return (64 << 20) + round(pixels / 4)


def _found(work: _Work) -> tuple[Timeline, int]:
    """When the source's pictures are shown, and how many house pictures came of them."""
    picture = work.held.picture
    if work.adopted:
        return Timeline(picture.pts, picture.tick, work.held.last_s), len(picture.pts)
    if work.joined:
        begins = round(Fraction(work.look.first_s) / picture.tick)  # on ffmpeg's clock, as if decoded in one run
        return Timeline(picture.pts - picture.pts[0] + begins, picture.tick, work.held.last_s), picture_track(
            work.joined
        ).frames
    return read_times(work.times, work.held), len(read_times(work.made, work.held).ticks)


def _join(work: _Work) -> None:
    """Picture by copy and the sound for browsers, in the file that is shown and cut."""
    file, index = (work.file, work.held.picture.index) if work.adopted else (work.picture, 0)
    inputs = ffmpeg.guarded_input(file, formats="mov")
    sound: list[str] = []
    if work.held.sound and _plays_as_it_is(work):
        sound = ["-map", f"0:{work.held.sound.index}", "-c:a", "copy"]
    elif work.held.sound:
        inputs += ffmpeg.guarded_input(work.sound, formats="wav")
        sound = ["-map", "1:a", *ffmpeg.SOUND]
    command = [
        *(ffmpeg.program(), *ffmpeg.QUIET, "-progress", "pipe:1", *inputs),
        *("-map", f"0:{index}", "-c:v", "copy", *sound),
        *(*ffmpeg.mp4_options(work.house.rate), str(work.draft)),
    ]
    _run(command, work, _DECODED, 1.0).check("Joining picture and sound")


def _plays_as_it_is(work: _Work) -> bool:
    """Whether an adopted file's sound is coded as it would be, and begins and ends with the picture."""
    sound = work.held.sound
    if not work.adopted or sound is None or (sound.codec, sound.channels, sound.rate) != ("aac", 2, 48_000):
        return False
    return sound.first_s < _STEP_S and abs(sound.end_s - float(work.held.expected_s)) < _STEP_S


def _look_over(work: _Work, frames: int) -> None:
    """What was made must be house form in every point, or joining it with others by copy would go wrong later."""
    made = contents(work.draft, lambda: work.tell(1.0))
    faults = departures(made, work.house)
    if len(made.picture.pts) != frames:
        faults = (*faults, f"there are {len(made.picture.pts)} frames instead of {frames}")
    if faults:
        raise RenderFailed(f"The prepared recording did not come out right: {', '.join(faults)}.", permanent=True)


def _keys_read(file: Path, held: Contents) -> bool:
    """Whether some key frames all over a file in house form decode without complaint.

    The packets are known to be whole in structure; to decode them all would cost a fifth of encoding anew.
    """
    picture = held.picture
    places = [f"{float(int(key) * picture.tick):.6f}" for key in picture.keys[:: max(1, len(picture.keys) // _SAMPLES)]]
    command = [ffmpeg.program(), *ffmpeg.QUIET]
    for place in places:
        command += graph.source(file, held, "-skip_frame", "nokey", "-ss", place)
    for number in range(len(places)):
        command += ["-map", f"{number}:{picture.index}", "-frames:v", "1", "-f", "null", "-"]
    finished = child.run(command, cpu_s=decoding_s(held), file_size=0).undisturbed("Looking at the pictures")
    return finished.status == 0 and not finished.stderr.strip()
