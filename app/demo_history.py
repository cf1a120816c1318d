"""What the officials of the demo league have answered so far: drawn from a seed, and labelled as made up.

Each has an invented eye for flags and for no-flags and sat through archived plays, which have keys but no picture. The
answers go through the same actions that a phone uses, with the clock of those days.
"""

from __future__ import annotations

import gzip
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from app.actions.sitting import Given, disagree, finish_sitting, open_look, start_sitting, submit_answer, submit_reason
from app.domain.answer import TimingPolicy
from app.domain.clip import Clip
from app.domain.quiz import QuizPlan
from app.domain.rulecard import Presence, Ruling
from app.store.content import add_clip, clips_by_id, stored_clips
from app.store.disagreements import list_disagreements
from app.store.engine import Database
from app.store.people import Seat
from app.store.quizzes import Quiz, QuizItem, add_quiz, assign, list_items, list_quizzes
from app.store.sittings import Look, Sitting, list_answers, list_looks, list_sittings

ROOT = Path(__file__).parents[1]
ARCHIVE = ROOT / "sample_clips" / "archive" / "clips"
LOOKS, ROUNDS = 12, 4
ROUND_TRIP, CLIP = 60, 6000
"""Milliseconds of the made-up phones."""
ROOKIES = ("ferry", "dunes")


def write_history(database: Database, seats: Iterable[Seat], now: datetime) -> None:
    """Ten weeks of sittings on archived plays by everybody seated. Done again, it goes on where it was."""
    start = now.replace(hour=19, minute=0, second=0, microsecond=0) - timedelta(days=70)
    crews: dict[str, list[Seat]] = {}
    for seat in seats:
        crews.setdefault(seat.crew_id, []).append(seat)
    for topic, clips in archived_clips():
        _keep(database, clips, start)
        for crew, members in crews.items():
            for round_ in range(2 if crew in ROOKIES else ROUNDS):
                _round(database, topic, clips, crew, members, round_, start + timedelta(days=16 * round_))


def sit_through(database: Database, quiz: Quiz, seats: Iterable[Seat], now: datetime) -> None:
    """A check with pictures, taken by those seated in the days before `now`; one of them disagrees with an answer."""
    with database.read() as session:
        clips = list(clips_by_id(session, [item.clip_id for item in list_items(session, quiz.id)]).values())
        done = {each.person_id for each in list_sittings(session, quiz_id=quiz.id) if each.ended_at is not None}
    members = sorted(seats, key=lambda seat: seat.person.name)
    for seat in members:
        if seat.person.id not in done:
            _sat(database, quiz.id, clips, seat, now - timedelta(days=6))
    with database.read() as session:
        sitting = list_sittings(session, members[0].person.id, quiz.id)[0]
        if list_disagreements(session, sitting_id=sitting.id):
            return
        sides = {look.n: look.side for look in list_looks(session, sitting.id)}
        answers = list_answers(session, sitting_id=sitting.id)
    other = [answer.n for answer in answers if answer.decision != sides[answer.n]] or [0]
    said = "From the line I saw green between the ball and the line. Is this angle good enough to say?"
    database.change(disagree, sitting.id, other[0], members[0].person.id, said, now=now - timedelta(hours=20))


def archived_clips() -> Iterator[tuple[str, list[Clip]]]:
    """Topic by topic, the plays that have keys but no picture."""
    for path in sorted(ARCHIVE.glob("*.jsonl.gz")):
        lines = gzip.decompress(path.read_bytes()).splitlines()
        topic = path.name.removesuffix(".jsonl.gz")
        if topic != "shot-touched":  # the crews of this league do not work that sport
            yield topic, [Clip.model_validate_json(line).model_copy(update={"game": None}) for line in lines]


def _keep(database: Database, clips: list[Clip], at: datetime) -> None:
    with database.read() as session:
        known = stored_clips(session)
    for clip in clips:
        if clip.id not in known:
            database.change(add_clip, clip, "system", at, archived=True)


def _round(
    database: Database, topic: str, clips: list[Clip], crew: str, members: list[Seat], round_: int, day: datetime
) -> None:
    """One archived quiz of a crew, sat by each member; who has finished it already is left out."""
    quiz_id = f"archive-{topic}-{crew}-{round_}"
    asked = random.Random(quiz_id).sample(clips, LOOKS)
    with database.read() as session:
        there = quiz_id in {quiz.id for quiz in list_quizzes(session, archived=True)}
        done = {each.person_id for each in list_sittings(session, quiz_id=quiz_id) if each.ended_at is not None}
    if not there:
        plan = QuizPlan(id=quiz_id, title="Archived plays", topics=(topic,), clips=LOOKS, no_flag_share=(0, 1))
        items = [QuizItem(n, clip.id, topic, _side(clip)) for n, clip in enumerate(asked)]
        quiz = Quiz(quiz_id, "Archived plays", plan, None, "system", day, is_archived=True)
        database.change(add_quiz, quiz, items)
        database.change(assign, "quiz", quiz_id, [seat.person.id for seat in members], None, day)
    for seat in members:
        if seat.person.id not in done:
            _sat(database, quiz_id, asked, seat, day)


def _side(clip: Clip) -> Ruling:
    return clip.keys[0].ruling


@dataclass(frozen=True)
class Eyes:
    """How often somebody made up calls it right, with a flag and without."""

    flag: float
    no_flag: float


def eyes_of(seat: Seat, topic: str) -> Eyes:
    """The same eyes for the same name and topic, whenever the demo is built."""
    chance = random.Random(f"{topic}:{seat.person.name}")
    skill = chance.gauss(0.93, 0.04) - (0.12 if seat.crew_id in ROOKIES else 0) - (0.04 if topic == "offside" else 0)
    lean = chance.gauss(0, 0.04)
    return Eyes(*(min(0.98, max(0.45, each)) for each in (skill + lean, skill - lean)))


def _sat(database: Database, quiz_id: str, clips: list[Clip], seat: Seat, day: datetime) -> None:
    """One sitting to its end; every step may have been done before, and is then the same again."""
    person, chance = seat.person.id, random.Random(f"{quiz_id}:{seat.person.name}")
    begun = day + timedelta(days=chance.randrange(5), minutes=chance.randrange(90))
    sitting = database.change(start_sitting, quiz_id, person, now=begun)
    with database.read() as session:
        looks = list_looks(session, sitting.id)
    by_id, eyes, at = {clip.id: clip for clip in clips}, eyes_of(seat, clips[0].topics[0]), sitting.began_at
    for look in looks:
        chance = random.Random(f"{quiz_id}:{seat.person.name}:{look.n}")
        at = _looked(database, sitting, look, by_id[look.clip_id], eyes, at, chance)
    database.change(finish_sitting, sitting.id, person, now=at)


def _looked(
    database: Database, sitting: Sitting, look: Look, clip: Clip, eyes: Eyes, at: datetime, chance: random.Random
) -> datetime:
    """One look, decided and explained; when the next one may begin."""
    place, nonce, side = (sitting.id, look.n, sitting.person_id), f"demo-{look.n}", _side(clip)
    sees_it = chance.random() < (eyes.flag if side is Ruling.FLAG else eyes.no_flag)
    other = Ruling.NO_FLAG if side is Ruling.FLAG else Ruling.FLAG
    decide = int(min(4600, chance.lognormvariate(7.4, 0.4)))
    database.change(open_look, *place, nonce, now=at)
    given = Given(nonce, side if sees_it else other, 200, CLIP, decide, False, 0.0, ROUND_TRIP, f"{nonce}:answer")
    answered = at + timedelta(milliseconds=200 + CLIP + decide + ROUND_TRIP)
    database.change(submit_answer, *place, given, TimingPolicy(), CLIP, now=answered)
    shows = {finding.of: finding.shows for finding in clip.keys[0].findings}
    if not sees_it and shows:
        name = chance.choice(sorted(shows))
        shows = shows | {name: Presence.ABSENT if shows[name] is Presence.PRESENT else Presence.PRESENT}
    database.change(submit_reason, *place, shows, True, now=answered + timedelta(seconds=8))
    return answered + timedelta(seconds=15)
