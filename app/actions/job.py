"""Long work is ordered, cancelled, tried again. What a worker does with it stands in `worker.py`."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.adapters.files import Library
from app.adapters.queue import ring_all
from app.store.change import after_commit
from app.store.engine import Database
from app.store.jobs import Order, add_job, bury_jobs, cancel_job, due_jobs, load_job, retry_job
from app.store.league import audit


@dataclass(frozen=True)
class Work:
    """What the function of a kind of job is given.

    `tell` what is being done, in words, and the share that is done (0 to 1); call it often: it raises when the job
    has been cancelled, and the function lets that pass. The work is done at least once, perhaps twice at a time, so it
    must cost nothing to repeat. `clock` tells the time.
    """

    database: Database
    library: Library
    args: Mapping[str, Any]
    tell: Callable[[str, float], None]
    clock: Callable[[], datetime]


Performer = Callable[[Work], None]
"""Does the work of one kind. BadInput and a permanent RenderFailed end the job, any other error is tried again."""


def order_job(
    session: Session, kind: str, key: str, args: Mapping[str, Any], title: str, by: str, *, now: datetime
) -> str:
    """Order work within the change that needs it, and ring once that is committed; the id of the job.

    `kind` is a key of `worker.JOBS`. The same `key` is the same work: it is done once, however often it is ordered.
    `args` are plain JSON: ids and numbers. `title` says the work to a person: "Preparing high.mp4". `by`: whose order.
    """
    job_id = add_job(session, secrets.token_hex(16), Order(kind, key, args, title), by, now)
    after_commit(lambda: ring_all(job_id))
    return job_id


def call_off_job(session: Session, job_id: str, by: str, *, now: datetime) -> None:
    """Cancel work that waits, or ask the worker to stop. Raises NotFound; Conflict when it has ended."""
    cancel_job(session, job_id, now)
    audit(session, now, by, "cancel", "job", job_id, title=load_job(session, job_id).title)


def try_job_again(session: Session, job_id: str, by: str, *, now: datetime) -> None:
    """Put failed or cancelled work in line again. Raises NotFound; Conflict when it has not failed."""
    retry_job(session, job_id)
    audit(session, now, by, "retry", "job", job_id, title=load_job(session, job_id).title)
    after_commit(lambda: ring_all(job_id))


def sweep_jobs(session: Session, *, now: datetime) -> list[str]:
    """End what nobody should take again; the ids of what is due, for which the bell may not have been heard."""
    bury_jobs(session, now)
    return due_jobs(session, now)
