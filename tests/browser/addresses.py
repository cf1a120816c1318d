"""Every page by hand: who sees it at which address. What is no page is named too, so that nothing is forgotten."""

from __future__ import annotations

from app.domain.people import Role
from tests.browser.crowded import INVITED, INVITED_STAFF
from tests.plays import PLAN

NO_PAGES = {
    "/": "leads to somebody's first page",
    "/healthz": "JSON",
    "/jobs/state": "JSON",
    "/sittings/{sitting_id}/ahead": "JSON",
    "/media/{token}": "pictures and videos",
    "/recordings/{recording_id}/original": "a video",
    "/looks/{asset}": "the clip of a look",
    "/looks/{asset}/{k}": "the clip of a view of a look",
    "/sittings/{sitting_id}/reviews": "JSON",
    "/readiness.csv": "CSV",
}
"""Paths that answer GET with something else than a page."""

NAMES = {
    Role.SUPERVISOR: "supervisor",
    Role.COORDINATOR: "coordinator",
    Role.EVALUATOR: "evaluator",
    Role.CHIEF: "chief",
    Role.OFFICIAL: "official",
    Role.GUEST: "",
}
"""Role -> name in tests of somebody who has it."""

PAGES: dict[str, tuple[str, ...]] = {
    "/sign-in": ("",),
    "/invite/{secret}": ("",),
    "/me": ("supervisor", "coordinator", "evaluator", "chief", "official"),
    "/jobs": ("supervisor",),
    "/recordings": ("supervisor",),
    "/recordings/new": ("supervisor",),
    "/recordings/{recording_id}": ("supervisor",),
    "/recordings/{recording_id}/edit": ("supervisor",),
    "/storage": ("supervisor",),
    "/games/{game_id}": ("supervisor",),
    "/readiness": ("supervisor", "coordinator"),
    "/readiness/crews/{crew_id}": ("supervisor", "coordinator"),
    "/readiness/people/{person_id}": ("supervisor", "coordinator"),
    "/crew": ("chief", "official"),
    "/clips": ("supervisor",),
    "/clips/new": ("supervisor",),
    "/clips/{clip_id}": ("supervisor",),
    "/clips/{clip_id}/quiz": ("supervisor",),
    "/people": ("supervisor", "coordinator"),
    "/people/new": ("supervisor",),
    "/people/import": ("supervisor",),
    "/people/crews/new": ("supervisor",),
    "/people/crews/{crew_id}": ("supervisor", "coordinator"),
    "/people/{person_id}": ("supervisor", "coordinator"),
    "/people/{person_id}/extra-time": ("supervisor",),
    "/quizzes": ("supervisor", "coordinator"),
    "/quizzes/new": ("supervisor",),
    "/quizzes/plans": ("supervisor",),
    "/quizzes/plans/new": ("supervisor",),
    "/quizzes/plans/{plan_id}": ("supervisor",),
    "/quizzes/quiet-hours": ("supervisor",),
    "/quizzes/{quiz_id}": ("supervisor", "coordinator"),
    "/quizzes/clearance": ("supervisor",),
    "/quizzes/{quiz_id}/clearance": ("supervisor", "coordinator"),
    "/practice": ("chief", "official"),
    "/refreshers/{policy_id}": ("official",),
    "/due": ("chief", "official"),
    "/checks/{quiz_id}": ("chief", "official"),
    "/sittings/{sitting_id}": ("official",),
    "/results": ("chief", "official"),
    "/sittings/{sitting_id}/result": ("supervisor", "coordinator", "chief", "official"),
    "/sittings/{sitting_id}/result/{n}": ("supervisor", "coordinator", "chief", "official"),
    "/sittings/{sitting_id}/result/{n}/disagree": ("official",),
    "/disagreements": ("supervisor", "coordinator"),
    "/lessons": ("supervisor", "coordinator", "evaluator", "chief", "official"),
    "/lessons/new": ("supervisor",),
    "/lessons/{lesson_id}": ("supervisor", "coordinator", "evaluator", "official"),
    "/lessons/{lesson_id}/add-step": ("supervisor",),
    "/lessons/{lesson_id}/steps/{n}": ("supervisor",),
    "/lessons/{lesson_id}/watch": ("supervisor", "evaluator", "official"),
}
"""Path of a page -> who looks at it here. Left out: where a role gets the very markup of another."""

SAME = {
    ("/sign-in", "supervisor"), ("/sign-in", "coordinator"), ("/sign-in", "evaluator"), ("/sign-in", "chief"),
    ("/sign-in", "official"), ("/invite/{secret}", "supervisor"), ("/invite/{secret}", "coordinator"),
    ("/invite/{secret}", "evaluator"), ("/invite/{secret}", "chief"), ("/invite/{secret}", "official"),
    ("/sittings/{sitting_id}", "chief"), ("/sittings/{sitting_id}/result/{n}/disagree", "chief"),
    ("/refreshers/{policy_id}", "chief"),
    ("/lessons/{lesson_id}", "chief"), ("/lessons/{lesson_id}/watch", "coordinator"),
    ("/lessons/{lesson_id}/watch", "chief"), ("/people/{person_id}/extra-time", "coordinator"),
}  # fmt: skip
"""What is left out of them, because who is signed in already is led on, or the markup is the same to a letter."""

MORE: tuple[tuple[str, str], ...] = (
    ("supervisor", "/clips?topic=offside&ruling=flag&text=nothing-says-this"),
    ("supervisor", "/recordings/raw"),
    ("supervisor", "/recordings/refused"),
    ("supervisor", "/lessons/draft"),
    *(("supervisor", f"/lessons/draft/add-step?kind={kind}") for kind in ("title", "question", "look-alikes")),
    ("supervisor", "/lessons/two-instants/steps/3"),
    ("supervisor", "/quizzes/{ready}"),
    ("supervisor", "/people/orla"),
    ("supervisor", "/people/ines"),
    ("supervisor", "/readiness/people/adaeze"),
    ("supervisor", "/readiness/crews/crew-3"),
    ("supervisor", "/sittings/{sitting_id}/result/1"),
    ("official", "/sittings/{sitting_id}/result/2"),
    ("official", "/sittings/{sitting_id}/result/3"),
    ("outsider", "/crew"),
    ("official", "/no-such-page"),
    ("official", "/sittings/{chiefs}/result"),
    ("official", "/checks/{clearance}"),
    ("official", "/checks/{review_quiz}"),
    ("official", "/sittings/{review}"),
    ("official", "/sittings/{reviewed}/result"),
    ("official", "/sittings/{reviewed}/result/0"),
    ("official", "/people"),
    ("coordinator", "/no-such-page"),
    ("coordinator", "/clips"),
    ("", "/no-such-page"),
    ("", f"/invite/{INVITED_STAFF}"),
    ("", "/invite/spent"),
)
"""Who and where: other states of pages, and what is said where there is nothing or not for them."""

EMPTY: tuple[tuple[str, str], ...] = (
    *(
        ("supervisor", path)
        for path in ("/recordings", "/recordings/new", "/clips", "/lessons", "/lessons/new", "/jobs")
    ),
    *(("supervisor", path) for path in ("/quizzes/plans", "/quizzes/plans/new", "/quizzes/quiet-hours")),
    *(("supervisor", path) for path in ("/quizzes", "/quizzes/new", "/readiness", "/disagreements", "/people/sil")),
    ("supervisor", "/quizzes/clearance"),
    *(("coordinator", path) for path in ("/quizzes", "/lessons", "/readiness", "/people", "/readiness/people/sil")),
    *(("official", path) for path in ("/due", "/lessons", "/results", "/crew", "/me", "/practice")),
    *(("outsider", path) for path in ("/due", "/crew")),
    ("evaluator", "/lessons"),
    ("chief", "/crew"),
)
"""The pages of a league that has nothing yet."""


def address(path: str, ids: dict[str, str]) -> str:
    """Where the page at a path is seen. A check is one that is begun; results are of one that is over."""
    begun = {
        "/sittings/{sitting_id}": {"sitting_id": ids["begun"]},
        "/checks/{quiz_id}": {"quiz_id": ids["ready"]},
        "/quizzes/{quiz_id}/clearance": {"quiz_id": ids["clearance"]},
    }.get(path, {})
    fixed = {"secret": INVITED, "recording_id": "line", "person_id": "sil", "game_id": "g1", "n": "0"} | {
        "plan_id": PLAN.id,
        "policy_id": "offside",
    }
    filled = path.format(**{**ids, **fixed, **begun})
    return filled + ("?recording=line&at=60" if path == "/clips/new" else "")
