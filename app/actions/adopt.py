"""A curriculum becomes the league's, kept in the database; and the league's is written out again as text."""

from __future__ import annotations

import itertools
import secrets
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

from sqlmodel import Session

from app.actions.intake import Incoming, add_recordings
from app.actions.voice import voice_name, with_voices_called
from app.adapters import curricula, files
from app.adapters.curricula import Loaded
from app.adapters.files import Library
from app.domain.curriculum import Curriculum
from app.domain.people import Crew, Member, Role
from app.domain.tape import voices_of
from app.store.content import (
    add_clip,
    add_lesson,
    list_cards,
    list_clips,
    list_exceptions,
    list_games,
    list_lessons,
    list_plans,
    list_policies,
    list_positions,
    save_card,
    save_exception,
    save_game,
    save_plan,
    save_policy,
    save_positions,
    stored_clips,
)
from app.store.league import audit, load_league, set_about
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person, list_crews, list_seats, set_chief
from app.store.recordings import RecordingFacts, list_recordings


def spooled(loaded: Loaded, library: Library) -> dict[str, int]:
    """Put the files of a curriculum's recordings where the job that prepares them looks; recording id -> bytes."""
    sizes = {}
    for recording in loaded.curriculum.recordings:
        source, target = loaded.media / recording.file, library.spool / recording.id
        files.link_or_copy(source, target)
        sizes[recording.id] = source.stat().st_size
    return sizes


def adopt_curriculum(
    session: Session, curriculum: Curriculum, sizes: dict[str, int], by: str, *, now: datetime
) -> list[str]:
    """Keep everything of a curriculum that is not here yet; cards and plans in place of those of the same id.

    Clips and lessons that are here stay as people have made them. `sizes`: the spooled files by recording. Returns the
    ids of the jobs that prepare the new recordings.
    """
    set_about(session, curriculum.about)
    save_positions(session, curriculum.positions)
    for game in curriculum.games:
        save_game(session, game)
    for exception in curriculum.exceptions:
        save_exception(session, exception)
    for card in curriculum.cards:
        save_card(session, card)
    for plan in curriculum.quiz_plans:
        save_plan(session, plan)
    for policy in curriculum.policies:
        save_policy(session, policy)
    session.flush()
    jobs = _adopt_recordings(session, curriculum, sizes, by, now)
    _adopt_plays(session, curriculum, by, now)
    known = {crew.id for crew in list_crews(session)}
    for crew in curriculum.crews:
        if crew.id not in known:
            adopt_crew(session, crew, now.date(), now=now)
    audit(session, now, by, "adopt", "curriculum", curriculum.about.id, clips=len(curriculum.clips))
    return jobs


def _adopt_recordings(
    session: Session, curriculum: Curriculum, sizes: dict[str, int], by: str, now: datetime
) -> list[str]:
    here = {facts.id for facts in list_recordings(session)}
    fresh = [Incoming(each, sizes[each.id]) for each in curriculum.recordings if each.id not in here]
    return add_recordings(session, fresh, None, by, now=now)


def _adopt_plays(session: Session, curriculum: Curriculum, by: str, now: datetime) -> None:
    clips = stored_clips(session)
    for clip in curriculum.clips:
        if clip.id not in clips:
            add_clip(session, clip, by, now)
    lessons = {lesson.id for lesson in list_lessons(session)}
    for lesson in curriculum.lessons:
        if lesson.id not in lessons:
            add_lesson(session, lesson, now)


def adopt_crew(session: Session, crew: Crew, since: date, *, now: datetime) -> list[Person]:
    """Keep a crew with a new person for each member; its first member leads it. Returns the people."""
    add_crew(session, CrewFacts(crew.id, crew.title, crew.first_season, None))
    people = [Person(secrets.token_urlsafe(12), member.name, Role.OFFICIAL) for member in crew.members]
    for person in people:
        add_person(session, person, now)
    session.flush()
    for person, member in zip(people, crew.members, strict=True):
        add_membership(session, person.id, crew.id, member.position, since)
    set_chief(session, crew.id, people[0].id if people else None)
    return people


def gathered(session: Session, today: date) -> Curriculum:
    """Everything of the league that a curriculum can hold, people as they sit in their crews on a day."""
    seats: dict[str, list[Member]] = {}
    for seat in list_seats(session, today):
        seats.setdefault(seat.crew_id, []).append(Member(name=seat.person.name, position=seat.position))
    crews = [
        Crew(id=each.id, title=each.title, first_season=each.first_season, members=tuple(seats.get(each.id, ())))
        for each in list_crews(session)
    ]
    return Curriculum(
        about=load_league(session).about,
        positions=tuple(list_positions(session)),
        crews=tuple(crews),
        games=tuple(list_games(session)),
        recordings=tuple(facts.recording for facts in list_recordings(session)),
        exceptions=tuple(list_exceptions(session)),
        cards=tuple(list_cards(session)),
        clips=tuple(list_clips(session)),
        lessons=tuple(list_lessons(session)),
        quiz_plans=tuple(list_plans(session)),
        policies=tuple(list_policies(session)),
    )


def write_out(session: Session, library: Library, folder: Path, today: date) -> list[Path]:
    """Write the league's curriculum as text into a new folder, its recordings and voice notes in `media` beside it.

    Files that people call the same get names of their own. Returns the text files. Raises BadInput when there is
    something in the folder.
    """
    curriculum, media = gathered(session, today), folder / "media"
    sources = {facts.id: _file_of(facts, library) for facts in list_recordings(session)}
    called = {each.id: Path(each.file).name for each in curriculum.recordings}
    digests = {digest for lesson in curriculum.lessons for digest in voices_of(lesson)}
    voices = {digest: voice_name(digest, library) for digest in sorted(digests)}
    names = distinct(called | {digest: name for digest, name in voices.items() if name})
    recordings = [each.model_copy(update={"file": names[each.id]}) for each in curriculum.recordings]
    named = with_voices_called(curriculum.model_copy(update={"recordings": tuple(recordings)}), names)
    written = curricula.dump(named, folder, media="media")
    for each, name in names.items():
        source = sources[each] if each in sources else library.original(each)
        if source.exists():
            files.link_or_copy(source, media / name)
    return written


def _file_of(facts: RecordingFacts, library: Library) -> Path:
    return library.original(facts.original) if facts.original else library.spool / facts.id


def distinct(wanted: Mapping[str, str]) -> dict[str, str]:
    """Key -> the name of a file that is wanted for it, or one like it where another key has that name already.

    Names that differ in case alone are the same on some disks.

    >>> distinct({"a": "line.mp4", "b": "Line.mp4", "c": "high.mp4"})
    {'a': 'line.mp4', 'b': 'Line-2.mp4', 'c': 'high.mp4'}
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for key, name in wanted.items():
        tries = (name if n == 1 else f"{Path(name).stem}-{n}{Path(name).suffix}" for n in itertools.count(1))
        found[key] = next(each for each in tries if each.casefold() not in taken)
        taken.add(found[key].casefold())
    return found
