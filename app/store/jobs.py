"""Jobs: long work as rows. A worker takes a job for the length of a lease and may end only the attempt that it took."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.domain.errors import Conflict, NotFound
from app.store.tables import JobRow

MOST_CRASHES = 3
"""After so many deaths without a word the work is left alone: it may be what kills the server."""

PAUSES = (timedelta(seconds=10), timedelta(minutes=2), timedelta(minutes=15))
"""How long to wait after the first, second, third failure; the next one is the last."""

WAIT = timedelta(seconds=30)
"""How long work that waits for other work is left alone before somebody looks again."""


class JobState(StrEnum):
    """Where a job stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


OPEN = (JobState.WAITING, JobState.RUNNING)
"""States of a job that still has something before it."""


@dataclass(frozen=True)
class Order:
    """Work to be done. `key`: the same work has the same key, and is done once. `title` says it to a person."""

    kind: str
    key: str
    args: Mapping[str, Any]
    title: str


@dataclass(frozen=True)
class Job:
    """A job as it is stored. `message`: what is being done, or why it failed; `progress` from 0 to 1."""

    id: str
    kind: str
    key: str
    args: dict[str, Any]
    title: str
    state: JobState
    progress: float
    message: str
    attempts: int
    failures: int
    crashes: int
    not_before: datetime | None
    is_cancelled: bool
    by: str
    made_at: datetime
    ended_at: datetime | None


@dataclass(frozen=True)
class Claim:
    """What a worker holds of a job: this attempt, and no later one."""

    job_id: str
    worker: str
    attempt: int


class Standing(StrEnum):
    """What a worker learns from a heartbeat: go on, stop because someone asked, stop because another has the job."""

    HELD = "held"
    CANCELLED = "cancelled"
    LOST = "lost"


# --------------------------------------------------------------------------------- ordering


def add_job(session: Session, job_id: str, order: Order, by: str, now: datetime) -> str:
    """Keep an order under `job_id`, or find the job of the same key; the id of the one that stands.

    Work that was cancelled or has failed is put in line again; work that is done stays done.
    """
    row = session.exec(select(JobRow).where(JobRow.key == order.key)).first()
    if row is None:
        row = _row_of(order, job_id, by, now)
        session.add(row)
    elif row.is_cancelled or row.state in (JobState.FAILED, JobState.CANCELLED):
        _line_up(row)
    return row.id


def _row_of(order: Order, job_id: str, by: str, now: datetime) -> JobRow:
    args = dict(order.args)
    return JobRow(id=job_id, kind=order.kind, key=order.key, args=args, title=order.title, by=by, made_at=now)


def retry_job(session: Session, job_id: str) -> None:
    """Put a job in line again that failed, was cancelled or pauses after a failure; its counts are zero then.

    Raises NotFound, Conflict.
    """
    row = _row(session, job_id)
    if row.state not in (JobState.FAILED, JobState.CANCELLED) and not (row.failures and row.not_before):
        raise Conflict(f'"{row.title}" need not be tried again: it is {row.state}.')
    _line_up(row)


def _line_up(row: JobRow) -> None:
    if row.state != JobState.RUNNING:
        row.state, row.progress, row.message = JobState.WAITING.value, 0.0, ""
        row.failures = row.crashes = 0
    row.is_cancelled, row.not_before, row.ended_at = False, None, None


def cancel_job(session: Session, job_id: str, now: datetime) -> None:
    """Cancel what waits; ask what runs to stop, which it learns at its next heartbeat. Raises NotFound, Conflict."""
    row = _row(session, job_id)
    if row.state not in OPEN:
        raise Conflict(f'"{row.title}" has come to its end already.')
    row.is_cancelled = True
    if row.state == JobState.WAITING:
        _end(row, JobState.CANCELLED, now)


# --------------------------------------------------------------------------------- working


def take_job(session: Session, job_id: str, worker: str, lease: timedelta, now: datetime) -> tuple[Job, Claim] | None:
    """Take a job that is due; None when there is none of that id, or nothing is to be done with it now."""
    row = session.exec(select(JobRow).where(JobRow.id == job_id, _is_due(now))).first()
    if row is None or row.is_cancelled or _has_died(row):
        return None
    row.crashes += row.state == JobState.RUNNING
    row.state, row.worker, row.lease_until, row.not_before = JobState.RUNNING.value, worker, now + lease, None
    row.attempts += 1
    return _job(row), Claim(row.id, worker, row.attempts)


def beat(session: Session, claim: Claim, lease: timedelta, share: float, doing: str, now: datetime) -> Standing:
    """Say that an attempt goes on, and how far it is; how it stands."""
    row = _held(session, claim)
    if row is None:
        return Standing.LOST
    row.lease_until, row.progress, row.message = now + lease, min(1.0, max(0.0, share)), doing
    return Standing.CANCELLED if row.is_cancelled else Standing.HELD


def finish_job(session: Session, claim: Claim, now: datetime) -> bool:
    """The work is done. False when the attempt is no longer the worker's: then nothing is changed."""
    row = _held(session, claim)
    if row is not None:
        row.progress, row.message, row.is_cancelled = 1.0, "", False
        _end(row, JobState.DONE, now)
    return row is not None


def fail_job(
    session: Session, claim: Claim, reason: str, now: datetime, *, permanent: bool, lacking: bool = False
) -> bool:
    """The work broke off: tried again after a pause, or given up. False as `finish_job`.

    `lacking`: for want of something on the machine, such as room on its disk. Then it is never given up.
    """
    row = _held(session, claim)
    if row is None:
        return False
    row.failures += 1
    row.message = reason
    if row.is_cancelled:
        _end(row, JobState.CANCELLED, now)
    elif permanent or (row.failures > len(PAUSES) and not lacking):
        _end(row, JobState.FAILED, now)
    else:
        _put_back(row, now + PAUSES[min(row.failures, len(PAUSES)) - 1])
    return True


def put_off_job(session: Session, claim: Claim, reason: str, now: datetime) -> bool:
    """The work waits for other work: taken again a little later, however often. False as `finish_job`."""
    row = _held(session, claim)
    if row is not None and row.is_cancelled:
        _end(row, JobState.CANCELLED, now)
    elif row is not None:
        row.message = reason
        _put_back(row, now + WAIT)
    return row is not None


def stop_job(session: Session, claim: Claim, now: datetime) -> bool:
    """The worker has stopped before the end: because the job is cancelled, or to be taken again at once by another."""
    row = _held(session, claim)
    if row is not None and row.is_cancelled:
        _end(row, JobState.CANCELLED, now)
    elif row is not None:
        row.message = ""
        _put_back(row, None)
    return row is not None


def _held(session: Session, claim: Claim) -> JobRow | None:
    """The row, where it is still in this attempt of this worker."""
    row = session.get(JobRow, claim.job_id)
    if row is None or (row.state, row.worker, row.attempts) != (JobState.RUNNING, claim.worker, claim.attempt):
        return None
    return row


def _put_back(row: JobRow, not_before: datetime | None) -> None:
    row.state, row.worker, row.lease_until, row.not_before = JobState.WAITING.value, None, None, not_before


def _end(row: JobRow, state: JobState, now: datetime) -> None:
    row.state, row.worker, row.lease_until, row.ended_at = state.value, None, None, now


def _has_died(row: JobRow) -> bool:
    """Whether the lease has run out once too often."""
    return row.state == JobState.RUNNING and row.crashes + 1 >= MOST_CRASHES


# --------------------------------------------------------------------------------- sweeping


def bury_jobs(session: Session, now: datetime) -> None:
    """End jobs whose worker has died and that nobody should take again: cancelled meanwhile, or died too often."""
    for row in session.exec(select(JobRow).where(JobRow.state == JobState.RUNNING.value, _is_due(now))):
        if row.is_cancelled:
            _end(row, JobState.CANCELLED, now)
        elif _has_died(row):
            row.crashes += 1
            row.message = f"The server ended {row.crashes} times in the middle of this work, so it is left alone now."
            _end(row, JobState.FAILED, now)


def due_jobs(session: Session, now: datetime) -> list[str]:
    """Ids of jobs that a worker may take now, the oldest first."""
    query = select(JobRow.id).where(_is_due(now), col(JobRow.is_cancelled).is_(False))
    return list(session.exec(query.order_by(col(JobRow.made_at), JobRow.id)))


def _is_due(now: datetime) -> ColumnElement[bool]:
    """Condition: it waits and its pause is over, or its worker has not been heard of for the length of its lease."""
    paused, lease = col(JobRow.not_before), col(JobRow.lease_until)
    waits = and_(col(JobRow.state) == JobState.WAITING.value, or_(paused.is_(None), paused <= now))
    return or_(waits, and_(col(JobRow.state) == JobState.RUNNING.value, lease <= now))


# --------------------------------------------------------------------------------- reading


def load_job(session: Session, job_id: str) -> Job:
    """A job. Raises NotFound."""
    return _job(_row(session, job_id))


def jobs_by_key(session: Session, keys: Iterable[str]) -> dict[str, Job]:
    """Key -> job, of those that have been ordered."""
    rows = session.exec(select(JobRow).where(col(JobRow.key).in_(set(keys))))
    return {row.key: _job(row) for row in rows}


def open_jobs(session: Session) -> list[Job]:
    """What runs and what waits, the oldest first."""
    query = _in_state(*OPEN).order_by(col(JobRow.made_at), JobRow.id)
    return [_job(row) for row in session.exec(query)]


def ended_jobs(session: Session, *states: JobState, limit: int) -> list[Job]:
    """The last jobs that ended in one of these states, the latest first."""
    query = _in_state(*states).order_by(col(JobRow.ended_at).desc(), JobRow.id)
    return [_job(row) for row in session.exec(query.limit(limit))]


def _in_state(*states: JobState) -> SelectOfScalar[JobRow]:
    return select(JobRow).where(col(JobRow.state).in_([state.value for state in states]))


def _row(session: Session, job_id: str) -> JobRow:
    row = session.get(JobRow, job_id)
    if row is None:
        raise NotFound("There is no such work.")
    return row


def _job(row: JobRow) -> Job:
    return Job(
        id=row.id,
        kind=row.kind,
        key=row.key,
        args=row.args,
        title=row.title,
        state=JobState(row.state),
        progress=row.progress,
        message=row.message,
        attempts=row.attempts,
        failures=row.failures,
        crashes=row.crashes,
        not_before=row.not_before,
        is_cancelled=row.is_cancelled,
        by=row.by,
        made_at=row.made_at,
        ended_at=row.ended_at,
    )
