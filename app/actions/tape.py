"""Cutting and stitching a lesson into one video, with captions, chapters and a poster."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from app.adapters import cache, voice
from app.adapters.assembly import Files, assemble, files_beside
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.adapters.segments import Segment, segment
from app.adapters.sound import TapeSound, tape_sound
from app.domain.curriculum import Curriculum
from app.domain.errors import BadInput, Misplaced, PennonError, RecordingRefused, RenderFailed, Unready
from app.domain.lesson import Lesson
from app.domain.recording import Prepared
from app.domain.tape import Chapter, Piece, Plan, Voice, plan, recordings_of, voices_of
from app.domain.timecode import Rate

AT_ONCE = 2
"""Pieces in work at the same time. Each is a process of its own, and half of its time it starts and stops."""

Progress = Callable[[str, float], None]
"""Told what is being done, in words, and the share of it that is done, from 0 to 1."""


@dataclass(frozen=True)
class Built:
    """A finished tape. `made` and `reused` count its pieces.

    `notes`: what to know of its recordings, which steps were lengthened, and what was damaged and made again.
    """

    lesson: str
    files: Files
    frames: int
    rate: Rate
    made: int
    reused: int
    chapters: tuple[Chapter, ...]
    bytes: int
    notes: tuple[str, ...]

    @property
    def duration_s(self) -> float:
        """Seconds from the first frame's beginning to the last one's end."""
        return float(self.rate.seconds(self.frames))


def build_tape(
    curriculum: Curriculum,
    lesson_id: str,
    media: Path,
    library: Library,
    out: Path,
    on_progress: Progress | None = None,
    *,
    continuous: bool = False,
) -> Built:
    """Build the tape of a lesson as `out`, with captions (.vtt) and poster (.jpg) beside it.

    `media` is the folder of the curriculum's recordings; those that the lesson shows are prepared where they are not
    yet. Pieces that `library` holds from an earlier build are used again. `continuous`: the sound is encoded as a
    whole, exact to the sample, for an edition that is published (see `adapters.sound`). Raises BadInput (a name or a
    frame that is not there, a file that is no recording), RenderFailed, Unready; then there is nothing new at `out`.
    """
    tell = on_progress or _silent
    _named(out)
    try:
        library.sweep()
        prepared = _prepared(curriculum, lesson_id, media, library, tell)
        voices = voices_in(curriculum.lesson(lesson_id), media.joinpath, library)
    except OSError as error:
        raise _explained(error) from error
    work = plan(curriculum.lesson(lesson_id), curriculum.clip_by_id(), prepared, curriculum.about.house, voices)
    return build_planned(work, lesson_id, prepared, library, out, tell, continuous=continuous)


def build_planned(
    work: Plan,
    lesson_id: str,
    prepared: Mapping[str, Prepared],
    library: Library,
    out: Path,
    on_progress: Progress | None = None,
    *,
    continuous: bool = False,
) -> Built:
    """Build a tape that has been planned from recordings that are prepared; as `build_tape` from there on."""
    tell = on_progress or _silent
    files = _named(out)
    try:
        with cache.in_use(library):
            segments, sound = _rendered(work, lesson_id, library, tell, continuous)
            tell("joining", 0.0)
            assemble(work, segments, sound, files)
            tell("joining", 1.0)
        cache.evict(library)
        return _built(lesson_id, work, segments, sound, files, prepared)
    except OSError as error:
        raise _explained(error) from error


def voices_in(lesson: Lesson, place: Callable[[str], Path], library: Library) -> dict[str, Voice]:
    """The voice notes of a lesson, taken in, by what its steps call them; `place` finds the file of a name.

    Raises Misplaced, with the path to the step, when a file is not there or is no sound.
    """
    return {name: _voice(name, path, place, library) for name, path in voices_of(lesson).items()}


def _voice(name: str, path: tuple[str | int, ...], place: Callable[[str], Path], library: Library) -> Voice:
    try:
        file = place(name)
        if not file.is_file():
            raise BadInput(f'there is no voice note "{name}"')
        return voice.take_in(file, library)
    except (BadInput, ValueError) as error:
        raise Misplaced((*path, "voice"), str(error)) from error


def _built(
    lesson_id: str,
    work: Plan,
    segments: list[Segment],
    sound: TapeSound,
    files: Files,
    prepared: Mapping[str, Prepared],
) -> Built:
    made = len({each.digest for each in segments if each.made})
    return Built(
        lesson=lesson_id,
        files=files,
        frames=work.frames,
        rate=work.house.rate,
        made=made,
        reused=len(segments) - made,
        chapters=work.chapters,
        bytes=files.tape.stat().st_size,
        notes=(*_notes(prepared), *work.notes, *_mended(segments, sound)),
    )


def _notes(prepared: Mapping[str, Prepared]) -> list[str]:
    return [f"{name}: {note}" for name, recording in prepared.items() for note in recording.notes]


def _mended(segments: list[Segment], sound: TapeSound) -> list[str]:
    damaged = len({each.digest for each in segments if each.mended}) + sound.mended
    pieces = "1 piece was" if damaged == 1 else f"{damaged} pieces were"
    return [f"{pieces} damaged on the disk and made again; the tape is whole."] if damaged else []


def _explained(error: OSError) -> PennonError:
    """What a file system refused, in words."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Unready("The disk is full. Free some space and build the tape again; what was cut so far is kept.")
    if error.errno == errno.EFBIG:
        return RenderFailed("The tape grew larger than files may be here.", permanent=True)
    return Unready(f"{error.filename or 'The tape'} could not be written: {error.strerror}.")


def _silent(_doing: str, _share: float) -> None:
    pass


def _named(out: Path) -> Files:
    files = files_beside(out)
    if out in (files.captions, files.poster):
        raise BadInput(f"The tape is a video; give it a name like {out.stem}.mp4")
    if out.is_dir():
        raise BadInput(f"{out} is a folder; name a file in it, such as {out / 'lesson.mp4'}")
    return files


def _prepared(
    curriculum: Curriculum, lesson_id: str, media: Path, library: Library, tell: Progress
) -> dict[str, Prepared]:
    """The recordings that a lesson shows, by their ids, prepared now where they were not yet."""
    names = recordings_of(curriculum.lesson(lesson_id), curriculum.clip_by_id())
    return {name: _prepared_one(name, curriculum, media, library, tell) for name in names}


def _prepared_one(name: str, curriculum: Curriculum, media: Path, library: Library, tell: Progress) -> Prepared:
    path = _file(name, curriculum, media)
    try:
        return prepare(path, curriculum.about.house, library, partial(tell, f"preparing {name}"))
    except RecordingRefused as refusal:
        raise Misplaced(("recordings", name, "file"), f"{path.name}: {refusal.reason}") from refusal


def _file(name: str, curriculum: Curriculum, media: Path) -> Path:
    recordings = curriculum.recording_by_id()
    if name not in recordings:
        raise BadInput(f'There is no recording "{name}" in this curriculum.')
    path = media / recordings[name].file
    if not path.is_file():
        raise Misplaced(("recordings", name, "file"), f'The recording "{name}" has no file: {path} is not there.')
    return path


def _rendered(
    work: Plan, lesson_id: str, library: Library, tell: Progress, continuous: bool
) -> tuple[list[Segment], TapeSound]:
    """All pieces in order, and the sound; the first failure ends the work and names its step."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        sound = pool.submit(tape_sound, work, library, continuous=continuous)
        pieces = {piece: pool.submit(segment, piece, work.house, library) for piece in dict.fromkeys(work.pieces)}
        try:
            segments = list(_in_order(work, pieces, lesson_id, tell))
            return segments, sound.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _in_order(work: Plan, pieces: dict[Piece, Future[Segment]], lesson_id: str, tell: Progress) -> Iterator[Segment]:
    for done, (step, piece) in enumerate(zip(work.steps, work.pieces, strict=True), 1):
        try:
            yield pieces[piece].result()
        except RenderFailed as error:
            raise RenderFailed(f'lesson "{lesson_id}", step {step}: {error}', permanent=error.permanent) from error
        tell("cutting", done / len(work.pieces))
