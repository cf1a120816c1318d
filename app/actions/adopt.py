"""A curriculum becomes the league's, kept in the database; and the league's is written out again as text."""

from __future__ import annotations

import secrets
from datetime import date, datetime
from pathlib import Path

from sqlmodel import Session

from app.actions.intake import Incoming, add_recordings
from app.adapters import curricula, files
from app.adapters.curricula import Loaded
from app.adapters.files import Library
from app.domain.curriculum import Curriculum
from app.domain.people import Crew, Member, Role
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
from app.store.recordings import list_recordings


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
    """Write the league's curriculum as text into a new folder, with its recordings in `media` beside it.

    Returns the text files. Raises BadInput when there is something in the folder.
    """
    curriculum = gathered(session, today)
    written = curricula.dump(curriculum, folder, media="media")
    for facts in list_recordings(session):
        source = library.original(facts.original) if facts.original else library.spool / facts.id
        if source.exists():
            files.link_or_copy(source, folder / "media" / Path(facts.recording.file).name)
    return written
