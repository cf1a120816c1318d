"""The pages, one module per noun. Each has a `router`; modules do not import each other."""

from app.web.pages import (
    checks,
    clearances,
    clip_quiz,
    clips,
    disagreements,
    extra_time,
    games,
    health,
    home,
    jobs,
    lessons,
    looks,
    media,
    new_quizzes,
    people,
    people_import,
    practice,
    quiz_plans,
    quizzes,
    readiness,
    recordings,
    results,
    reviews,
    signin,
    steps,
    storage,
    uploads,
)

FIRST = (media.ROUTE, *looks.router.routes)
"""Routes before all routers: videos and phones in a check wait for these, and every route in between costs its look."""

ROUTERS = (
    checks.router,
    clearances.router,  # before quizzes: `/quizzes/clearance` is no quiz
    clip_quiz.router,
    clips.router,
    disagreements.router,
    extra_time.router,
    games.router,
    health.router,
    home.router,
    jobs.router,
    lessons.router,
    people_import.router,  # before people: `/people/import` is nobody's page
    people.router,
    practice.router,
    new_quizzes.router,  # before quizzes: `/quizzes/new` and `/quizzes/plans` are no quizzes
    quiz_plans.router,
    quizzes.router,
    readiness.router,
    recordings.router,
    results.router,
    reviews.router,
    signin.router,
    steps.router,
    storage.router,
    uploads.router,
)
