"""Long work: what is being done, what waits, what broke off and why, what was done lately."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.actions.job import call_off_job, try_job_again
from app.store.jobs import Job, JobState, ended_jobs, open_jobs
from app.store.people import list_people
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.render import page
from app.web.words import capital, count

router = APIRouter()

LATELY = 12


@dataclass(frozen=True)
class JobsPage:
    """Jobs by what can be done about them. `names`: of the people who ordered them, by id."""

    heading: str
    running: list[Job]
    waiting: list[Job]
    failed: list[Job]
    ended: list[Job]
    names: dict[str, str]


class BackForm(forms.Form):
    """Where the button was pressed."""

    back: str = "/jobs"

    @property
    def address(self) -> str:
        """A page of ours that shows jobs; never an address that somebody else chose."""
        return self.back if re.fullmatch(r"/(jobs|recordings|lessons)(/[a-z0-9-]+)?", self.back) else "/jobs"


@router.get("/jobs")
def jobs_page(request: Request, db: Db) -> Response:
    """All of it."""
    with db.read() as session:
        current = open_jobs(session)
        failed = ended_jobs(session, JobState.FAILED, limit=100)
        ended = ended_jobs(session, JobState.DONE, JobState.CANCELLED, limit=LATELY)
        names = {person.id: person.name for person in list_people(session)}
    running = [job for job in current if job.state is JobState.RUNNING]
    waiting = [job for job in current if job.state is JobState.WAITING]
    shown = JobsPage(_heading(len(running), len(waiting), len(failed)), running, waiting, failed, ended, names)
    return page(request, "jobs/list.html", shown)


def _heading(running: int, waiting: int, failed: int) -> str:
    """What is so, in one or two sentences."""
    done = f"{capital(count(running, 'thing'))} {'is' if running == 1 else 'are'} being worked on."
    if not running and waiting:
        done = f"{capital(count(waiting, 'thing'))} {'waits' if waiting == 1 else 'wait'} to be worked on."
    elif not running:
        done = "" if failed else "Nothing is being worked on."
    return f"{done} {capital(count(failed, 'thing'))} broke off.".strip() if failed else done


@router.get("/jobs/state")
def jobs_state(db: Db) -> dict[str, Any]:
    """What runs and what waits, for pages that show its progress."""
    with db.read() as session:
        current = open_jobs(session)
    return {
        "jobs": [
            {"id": job.id, "state": job.state, "share": round(job.progress, 3), "doing": job.message} for job in current
        ]
    }


@router.post("/jobs/{job_id}/cancel")
async def cancel_job(request: Request, job_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Cancel it, or ask its worker to stop."""
    form = await forms.read(request, BackForm)
    await db.changed(call_off_job, job_id, viewer.person_id, now=at)
    return RedirectResponse(form.address, 303)


@router.post("/jobs/{job_id}/retry")
async def retry_job(request: Request, job_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Put it in line again."""
    form = await forms.read(request, BackForm)
    await db.changed(try_job_again, job_id, viewer.person_id, now=at)
    return RedirectResponse(form.address, 303)
