"""What pages rely on is the same on both databases: instants, order, documents, rules of the tables."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.domain.errors import BadInput
from app.domain.people import Role
from app.domain.recording import Game
from app.domain.rulecard import Ruling
from app.store.accounts import accounts
from app.store.content import add_clip, count_clips, list_cards, list_clips, list_games, save_game
from app.store.devices import Device, Invite, add_device, add_invite
from app.store.engine import Database
from app.store.jobs import Order, add_job, due_jobs, load_job
from app.store.people import (
    CrewFacts,
    Person,
    add_crew,
    add_membership,
    add_person,
    find_by_email,
    list_crews,
    list_people,
    list_seats,
    load_person,
)
from app.store.quizzes import assign, list_assignments, list_items
from tests.plays import NOW, add_plays, play, publish
from tests.postgres import Server
from tests.zones import EAST

NAMES = ("Zoë Aa", "adam Aa", "Ärla Aa", "Bo Aa", "BO Aa", "álvaro Aa", "A-b Aa", "Ab Aa", "A b Aa", "Æsa Aa", "李 Aa")
SUMMER = timezone(timedelta(hours=2))


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    yield made
    made.close()


def official(name: str) -> Person:
    return Person(f"id-{name}", name, Role.OFFICIAL)


# ------------------------------------------------------------------------------------------- instants


def test_instants_come_back_in_the_zone_of_the_server_to_the_microsecond(database: Database) -> None:
    then = datetime(2026, 3, 29, 2, 30, 0, 123456, tzinfo=SUMMER)
    database.change(add_job, "j1", Order("prepare", "k1", {}, "Preparing"), "orla", then)
    with database.read() as session:
        made_at = load_job(session, "j1").made_at
    assert (made_at, made_at.utcoffset(), made_at.microsecond) == (then, then.astimezone().utcoffset(), 123456)


@pytest.mark.parametrize("zone", [EAST], indirect=True)
@pytest.mark.usefixtures("zone")
def test_an_instant_comes_back_on_the_day_that_it_was_where_the_league_plays(database: Database) -> None:
    late = datetime(2026, 9, 10, 22, 5, tzinfo=UTC)
    database.change(add_job, "j1", Order("prepare", "k1", {}, "Preparing"), "orla", late)
    with database.read() as session:
        made_at = load_job(session, "j1").made_at
    assert (made_at, made_at.date()) == (late, date(2026, 9, 11))


def test_instants_are_compared_as_instants_whatever_their_zone(database: Database) -> None:
    noon = datetime(2026, 9, 10, 12, 0, tzinfo=UTC)
    for n, at in enumerate((noon, (noon - timedelta(hours=1)).astimezone(SUMMER), noon + timedelta(hours=1))):
        database.change(add_job, f"j{n}", Order("prepare", f"k{n}", {}, "Preparing"), "orla", at)
    with database.read() as session:
        assert due_jobs(session, noon.astimezone(SUMMER)) == ["j1", "j0", "j2"]


def test_the_latest_of_several_instants_is_an_instant_too(database: Database) -> None:
    def signed_in(session: Session) -> None:
        add_person(session, official("Sil"), NOW)
        session.flush()
        for hour in (1, 3, 2):
            at = NOW + timedelta(hours=hour)
            add_device(session, Device(f"device-{hour}", "id-Sil", "", NOW, at, NOW + timedelta(days=9)))
            add_invite(session, Invite(f"invite-{hour}", "id-Sil", "official", at), NOW)

    database.change(signed_in)
    with database.read() as session:
        account = accounts(session, ["id-Sil", "nobody"], NOW)["id-Sil"]
    assert (account.devices, account.seen_at, account.invited_until) == (3, *[NOW + timedelta(hours=3)] * 2)
    assert account.seen_at is not None
    assert account.seen_at.utcoffset() is not None


def test_the_first_day_of_all_is_a_day(database: Database) -> None:
    database.change(add_plays)
    with database.read() as session:
        assert [card.effective_from for card in list_cards(session)] == [None]


# ------------------------------------------------------------------------------------------- order


def test_text_is_in_the_order_of_its_code_points(database: Database) -> None:
    def seated(session: Session) -> None:
        for name in NAMES:
            add_person(session, official(name), NOW)
            add_crew(session, CrewFacts(name, name, True, None))
        add_crew(session, CrewFacts("a-crew", "A crew", False, None))
        session.flush()
        for name in NAMES:
            add_membership(session, official(name).id, "a-crew", "referee", date(2026, 1, 1))

    database.change(seated)
    with database.read() as session:
        assert [person.name for person in list_people(session)] == sorted(NAMES)
        assert [seat.person.name for seat in list_seats(session, date(2026, 9, 1))] == sorted(NAMES)
        assert [crew.title for crew in list_crews(session)] == [*sorted(NAMES), "A crew"]


def test_ids_are_in_the_order_of_their_code_points(database: Database) -> None:
    database.change(add_plays, 12)
    with database.read() as session:
        assert [clip.id for clip in list_clips(session)] == sorted(f"play-{n}" for n in range(12))


def test_what_has_no_day_comes_last(database: Database) -> None:
    def filled(session: Session) -> None:
        for name, on in (("No day", None), ("Early", date(2026, 5, 1)), ("Late", date(2026, 8, 1))):
            save_game(session, Game(id=name.lower().replace(" ", "-"), title=name, on=on))
        add_person(session, official("Sil"), NOW)
        session.flush()
        for n, due in enumerate((None, NOW + timedelta(days=2), NOW + timedelta(days=1))):
            assign(session, "lesson", f"lesson-{n}", ["id-Sil"], due, NOW)

    database.change(filled)
    with database.read() as session:
        assert [game.title for game in list_games(session)] == ["Late", "Early", "No day"]
        assert [each.noun_id for each in list_assignments(session)] == ["lesson-2", "lesson-1", "lesson-0"]


def test_archived_plays_are_kept_apart_and_counted_apart(database: Database) -> None:
    database.change(add_plays, 3)
    database.change(add_clip, play(7), "system", NOW, archived=True)
    with database.read() as session:
        assert [clip.id for clip in list_clips(session, archived=True)] == ["play-7"]
        assert [clip.id for clip in list_clips(session, "offside", Ruling.FLAG)] == ["play-0", "play-2"]
        assert count_clips(session) == {"offside": {"flag": 2, "no flag": 1}}


# ------------------------------------------------------------------------------------------- documents, text, rules


def test_documents_come_back_as_they_were(database: Database) -> None:
    args = {"n": [0, -1, 2**53, 0.1, 1e-9, None, True], "text": "é 🏁 \u2028 \"'\\ %s :x", "deep": {"": {"a": []}}}
    database.change(add_job, "j1", Order("prepare", "k1", args, "Preparing"), "orla", NOW)
    with database.read() as session:
        kept = load_job(session, "j1").args
    assert kept == args
    assert list(kept) == list(args)


def test_text_comes_back_as_it_was(database: Database) -> None:
    texts = ["O'Hara; --", "100 % _a\\", "🏁 é \u202e", "a\tb\nc", "x" * 5000, ""]
    for n, name in enumerate(texts):
        database.change(add_person, Person(f"id-{n}", name, Role.OFFICIAL), NOW)
    with database.read() as session:
        assert [load_person(session, f"id-{n}").name for n in range(len(texts))] == texts


def refuses(database: Database, name: str) -> None:
    """That text is neither kept nor looked for, and it is said in words."""
    with pytest.raises(BadInput, match="cannot be kept"):
        database.change(add_person, Person("sil", name, Role.OFFICIAL), NOW)
    with pytest.raises(BadInput, match="cannot be kept"), database.read() as session:
        find_by_email(session, name)


def test_half_a_character_is_refused_in_words(database: Database) -> None:
    refuses(database, "half \ud83c")


def test_nul_which_postgresql_cannot_keep_is_refused_in_words(postgresql: Server) -> None:
    with postgresql.league() as url:
        database = Database(url)
        refuses(database, "NUL \0")
        database.close()


def test_mail_addresses_are_found_in_whatever_letters(database: Database) -> None:
    database.change(add_person, Person("orla", "Orla", Role.SUPERVISOR, "orla@example.org"), NOW)
    with database.read() as session:
        assert find_by_email(session, " ORLA@Example.org ") == load_person(session, "orla")
        assert find_by_email(session, "orla_example.org") is None
        assert find_by_email(session, "%") is None


def test_what_is_unique_stays_so_and_what_refers_to_nothing_is_refused(database: Database) -> None:
    database.change(add_person, official("Sil"), NOW)
    for change in (
        lambda session: add_person(session, official("Sil"), NOW),
        lambda session: add_crew(session, CrewFacts("ferry", "Ferry", True, "nobody")),
        lambda session: assign(session, "quiz", "q", ["nobody"], None, NOW),
    ):
        with pytest.raises(IntegrityError):
            database.change(change)
    with database.read() as session:
        assert [person.name for person in list_people(session)] == ["Sil"]
        assert list_crews(session) == []


def test_the_same_seed_draws_the_same_quiz(database: Database, empty_file: Path, tmp_path: Path) -> None:
    def asked(session: Session) -> list[str]:
        add_crew(session, CrewFacts("ferry", "Ferry", True, None))
        add_plays(session, 24)
        quiz = publish(session)
        session.flush()
        return [item.clip_id for item in list_items(session, quiz.id)]

    other = Database(f"sqlite:///{shutil.copy(empty_file, tmp_path / 'other.db')}")
    drawn = database.change(asked)
    assert len(set(drawn)) == 8
    assert other.change(asked) == drawn
    other.close()
