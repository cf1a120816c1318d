"""The ways across a page: for each role the few words that lead everywhere it may go."""

from __future__ import annotations

from app.domain.people import Role

Way = tuple[str, str]
"""Address and word."""

SUPERVISOR: tuple[Way, ...] = (
    ("/recordings", "Recordings"),
    ("/clips", "Clips"),
    ("/lessons", "Lessons"),
    ("/quizzes", "Quizzes"),
    ("/readiness", "Readiness"),
    ("/people", "People"),
    ("/jobs", "Work"),
)
COORDINATOR: tuple[Way, ...] = (
    ("/readiness", "Readiness"),
    ("/quizzes", "Quizzes"),
    ("/lessons", "Lessons"),
    ("/people", "People"),
)
EVALUATOR: tuple[Way, ...] = (("/lessons", "Lessons"),)
OFFICIAL: tuple[Way, ...] = (("/due", "Due"), ("/lessons", "Lessons"), ("/results", "Results"), ("/crew", "My crew"))


def ways_of(role: Role) -> tuple[Way, ...]:
    """The ways of a role, in order; the first is its first page."""
    match role:
        case Role.SUPERVISOR:
            return SUPERVISOR
        case Role.COORDINATOR:
            return COORDINATOR
        case Role.EVALUATOR:
            return EVALUATOR
        case Role.CHIEF | Role.OFFICIAL:
            return OFFICIAL
        case Role.GUEST:
            return ()
