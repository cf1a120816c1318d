"""Jobs as rows: done once however often they are ordered, held by one worker at a time, never lost with one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from app.domain.errors import Conflict, NotFound
from app.store.engine import Database
from app.store.jobs import (
    MOST_CRASHES,
    PAUSES,
    Claim,
    Job,
    JobState,
    Order,
    Standing,
    add_job,
    beat,
    bury_jobs,
    cancel_job,
    due_jobs,
    ended_jobs,
    fail_job,
    finish_job,
    jobs_by_key,
    load_job,
    open_jobs,
    retry_job,
    stop_job,
    take_job,
)

NOW = datetime(2026, 9, 10, 18, 0, tzinfo=UTC)
LEASE = timedelta(seconds=30)
LATER = NOW + 2 * LEASE


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(add_job, "j1", Order("prepare", "prepare:r1", {"recording": "r1"}, "Preparing high.mp4"), "orla", NOW)
    yield made
    made.close()


def job(database: Database, job_id: str = "j1") -> Job:
    with database.read() as session:
        return load_job(session, job_id)


def due(database: Database, now: datetime) -> list[str]:
    with database.read() as session:
        return due_jobs(session, now)


def taken(database: Database, worker: str = "a", now: datetime = NOW) -> Claim:
    found = database.change(take_job, "j1", worker, LEASE, now)
    assert found is not None
    claim: Claim = found[1]
    return claim


def failed(database: Database, now: datetime, *, permanent: bool = False) -> None:
    database.change(fail_job, taken(database, now=now), "The disk is full.", now, permanent=permanent)


def test_an_order_waits_and_is_due_at_once(database: Database) -> None:
    assert (job(database).state, job(database).args) == (JobState.WAITING, {"recording": "r1"})
    assert due(database, NOW) == ["j1"]


def test_the_same_work_is_one_job_however_often_it_is_ordered(database: Database) -> None:
    again = Order("prepare", "prepare:r1", {}, "The same")
    assert database.change(add_job, "j2", again, "piet", LATER) == "j1"
    database.change(finish_job, taken(database), NOW)
    assert database.change(add_job, "j3", again, "piet", LATER) == "j1"
    assert job(database).state is JobState.DONE


@pytest.mark.parametrize("how", ["failed", "cancelled"])
def test_work_that_did_not_get_done_is_put_in_line_by_a_new_order(database: Database, how: str) -> None:
    if how == "failed":
        failed(database, NOW, permanent=True)
    else:
        database.change(cancel_job, "j1", NOW)
    assert job(database).state == how
    database.change(add_job, "j2", Order("prepare", "prepare:r1", {}, "Again"), "orla", LATER)
    assert (job(database).state, job(database).failures, job(database).is_cancelled) == (JobState.WAITING, 0, False)


def test_of_two_workers_only_one_gets_the_job(database: Database) -> None:
    taken(database, "a")
    assert database.change(take_job, "j1", "b", LEASE, NOW) is None
    assert due(database, NOW + LEASE / 2) == []


def test_a_job_that_is_not_there_is_not_taken(database: Database) -> None:
    assert database.change(take_job, "unknown", "a", LEASE, NOW) is None


def test_a_heartbeat_lengthens_the_lease_and_tells_how_far_it_is(database: Database) -> None:
    claim = taken(database)
    assert database.change(beat, claim, LEASE, 0.4, "Reading", NOW + LEASE / 2) is Standing.HELD
    assert due(database, NOW + LEASE) == []
    assert (job(database).progress, job(database).message) == (0.4, "Reading")


def test_after_its_lease_another_worker_takes_over_and_the_first_can_change_nothing(
    database: Database,
) -> None:
    first = taken(database, "a")
    second = taken(database, "b", LATER)
    assert (job(database).attempts, job(database).crashes) == (2, 1)
    assert database.change(beat, first, LEASE, 0.9, "Still here", LATER) is Standing.LOST
    assert not database.change(finish_job, first, LATER)
    assert not database.change(fail_job, first, "no", LATER, permanent=True)
    assert not database.change(stop_job, first, LATER)
    assert (job(database).state, job(database).message) == (JobState.RUNNING, "")
    assert database.change(finish_job, second, LATER)
    assert (job(database).state, job(database).progress, job(database).ended_at) == (JobState.DONE, 1.0, LATER)


def test_the_same_worker_cannot_finish_an_attempt_that_it_lost_to_itself(database: Database) -> None:
    first, second = taken(database, "a"), taken(database, "a", LATER)
    assert not database.change(finish_job, first, LATER)
    assert database.change(finish_job, second, LATER)


def test_a_failure_is_tried_again_after_growing_pauses_and_then_given_up(database: Database) -> None:
    now = NOW
    for pause in PAUSES:
        failed(database, now)
        assert job(database).state is JobState.WAITING
        assert due(database, now + pause - timedelta(seconds=1)) == []
        now += pause
        assert due(database, now) == ["j1"]
    failed(database, now)
    assert (job(database).state, job(database).message) == (JobState.FAILED, "The disk is full.")
    assert due(database, now + timedelta(days=1)) == []


def test_a_permanent_failure_is_not_tried_again(database: Database) -> None:
    failed(database, NOW, permanent=True)
    assert (job(database).state, job(database).failures, job(database).crashes) == (JobState.FAILED, 1, 0)


def test_work_that_kills_its_server_again_and_again_is_left_alone(database: Database) -> None:
    now = NOW
    for _ in range(MOST_CRASHES):
        taken(database, now=now)
        now += 2 * LEASE
    assert database.change(take_job, "j1", "z", LEASE, now) is None
    database.change(bury_jobs, now)
    assert (job(database).state, job(database).crashes, job(database).failures) == (JobState.FAILED, MOST_CRASHES, 0)
    assert "3 times" in job(database).message


def test_what_is_alive_is_not_buried(database: Database) -> None:
    taken(database)
    database.change(bury_jobs, NOW + LEASE / 2)
    assert job(database).state is JobState.RUNNING


def test_cancelling_what_waits_ends_it_and_nobody_takes_it(database: Database) -> None:
    database.change(cancel_job, "j1", NOW)
    assert job(database).state is JobState.CANCELLED
    assert database.change(take_job, "j1", "a", LEASE, NOW) is None


def test_cancelling_what_runs_reaches_its_worker_with_the_next_heartbeat(database: Database) -> None:
    claim = taken(database)
    database.change(cancel_job, "j1", NOW)
    assert job(database).state is JobState.RUNNING
    assert database.change(beat, claim, LEASE, 0.5, "", NOW) is Standing.CANCELLED
    assert database.change(stop_job, claim, NOW)
    assert job(database).state is JobState.CANCELLED


def test_a_cancelled_job_whose_worker_died_is_cancelled_by_the_sweeper(database: Database) -> None:
    taken(database)
    database.change(cancel_job, "j1", NOW)
    assert due(database, LATER) == []
    database.change(bury_jobs, LATER)
    assert job(database).state is JobState.CANCELLED


def test_an_order_that_comes_while_it_is_being_cancelled_wins(database: Database) -> None:
    claim = taken(database)
    database.change(cancel_job, "j1", NOW)
    database.change(add_job, "j2", Order("prepare", "prepare:r1", {}, "After all"), "orla", NOW)
    database.change(stop_job, claim, NOW)
    assert (job(database).state, due(database, NOW)) == (JobState.WAITING, ["j1"])


def test_work_that_stops_with_its_server_is_taken_again_at_once_and_counts_as_no_crash(database: Database) -> None:
    database.change(stop_job, taken(database), NOW)
    assert (job(database).state, due(database, NOW)) == (JobState.WAITING, ["j1"])
    taken(database)
    assert (job(database).attempts, job(database).crashes, job(database).failures) == (2, 0, 0)


def test_only_what_has_not_been_done_can_be_tried_again_and_only_what_is_open_cancelled(database: Database) -> None:
    with pytest.raises(Conflict):
        database.change(retry_job, "j1")
    database.change(finish_job, taken(database), NOW)
    with pytest.raises(Conflict):
        database.change(retry_job, "j1")
    with pytest.raises(Conflict):
        database.change(cancel_job, "j1", NOW)
    with pytest.raises(NotFound):
        database.change(retry_job, "unknown")
    with pytest.raises(NotFound):
        database.change(cancel_job, "unknown", NOW)


def test_work_that_pauses_after_a_failure_can_be_tried_again_at_once(database: Database) -> None:
    failed(database, NOW)
    assert due(database, NOW) == []
    database.change(retry_job, "j1")
    assert (due(database, NOW), job(database).failures) == (["j1"], 0)


def test_work_for_which_the_machine_lacks_something_is_never_given_up(database: Database) -> None:
    now = NOW
    for failures in range(1, len(PAUSES) + 4):
        database.change(fail_job, taken(database, now=now), "No room.", now, permanent=False, lacking=True)
        assert (job(database).state, job(database).failures) == (JobState.WAITING, failures)
        pause = PAUSES[min(failures, len(PAUSES)) - 1]
        assert due(database, now + pause * 0.9) == []
        now += pause
        assert due(database, now) == ["j1"]


def test_a_retry_begins_with_its_counts_at_zero(database: Database) -> None:
    failed(database, NOW, permanent=True)
    database.change(retry_job, "j1")
    assert (job(database).state, job(database).failures, job(database).message) == (JobState.WAITING, 0, "")


def test_jobs_are_listed_by_what_can_be_done_about_them(database: Database) -> None:
    database.change(add_job, "j2", Order("tape", "tape:1", {}, "Cutting a lesson"), "orla", LATER)
    database.change(finish_job, taken(database), LATER)
    with database.read() as session:
        assert [each.id for each in open_jobs(session)] == ["j2"]
        assert [each.id for each in ended_jobs(session, JobState.DONE, limit=5)] == ["j1"]
        assert ended_jobs(session, JobState.FAILED, limit=5) == []
        assert {key: each.id for key, each in jobs_by_key(session, ["tape:1", "tape:2"]).items()} == {"tape:1": "j2"}
