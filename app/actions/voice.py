"""Voice notes in the library: kept by the digest of their bytes, which is what the steps of a lesson name.

In the text of a curriculum a step names the file instead, beside the recordings; loading and writing out exchange the
two.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from app.adapters import files, voice
from app.adapters.curricula import Loaded
from app.adapters.files import Library
from app.domain.curriculum import Curriculum, Fault
from app.domain.errors import BadInput, CurriculumError
from app.domain.lesson import Lesson, Step
from app.domain.tape import Voice, voices_of


def keep_voice(file: Path, name: str, library: Library) -> str:
    """Take a sound file that people call `name` into the library; the digest of its bytes.

    The same bytes are kept once, under the name by which they first came. Raises BadInput when it holds no sound or
    far too much of it; then nothing of it is kept.
    """
    voice.take_in(file, library, name)
    digest = files.digest_of_file(file)
    receipt = library.receipt(digest)
    if not receipt.exists():
        files.link_or_copy(file, library.original(digest))
        files.write_whole(receipt, json.dumps({"name": name}).encode())
    return digest


def voice_name(digest: str, library: Library) -> str:
    """The name by which a kept file came in; empty where it is not here."""
    try:
        return str(json.loads(library.receipt(digest).read_bytes())["name"])
    except (OSError, ValueError):  # ValueError: what is no digest
        return ""


def voices_here(lesson: Lesson, library: Library) -> dict[str, Voice]:
    """The voice notes of a lesson that are in the library, by what its steps call them."""
    found = ((name, voice.find(name, library)) for name in voices_of(lesson))
    return {name: each for name, each in found if each is not None}


def with_voices_kept(loaded: Loaded, library: Library) -> Curriculum:
    """The curriculum with its voice notes in the library, its steps naming them by digest.

    Raises CurriculumError, with file and line, for each that cannot be used.
    """
    kept: dict[str, str] = {}
    problems = []
    for lesson in loaded.curriculum.lessons:
        for name, path in voices_of(lesson).items():
            try:
                kept[name] = kept.get(name) or _kept(loaded.media, name, library)
            except BadInput as error:
                problems.append(loaded.problem(Fault((*path, "voice"), str(error))))
    if problems:
        raise CurriculumError(tuple(problems))
    return with_voices_called(loaded.curriculum, kept)


def _kept(media: Path, name: str, library: Library) -> str:
    file = media / name
    if not file.is_file():
        raise BadInput(f'there is no voice note "{name}"')
    return keep_voice(file, Path(name).name, library)


def with_voices_called(curriculum: Curriculum, names: Mapping[str, str]) -> Curriculum:
    """The curriculum with its voice notes called otherwise; those that are not among the `names` keep theirs."""
    lessons = tuple(
        lesson.model_copy(update={"steps": tuple(_renamed(step, names) for step in lesson.steps)})
        for lesson in curriculum.lessons
    )
    return curriculum.model_copy(update={"lessons": lessons})


def _renamed(step: Step, names: Mapping[str, str]) -> Step:
    return step.model_copy(update={"voice": names[step.voice]}) if step.voice in names else step
