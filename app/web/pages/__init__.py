"""The pages, one module per noun. Each has a `router`; modules do not import each other."""

from app.web.pages import (
    checks,
    clips,
    disagreements,
    games,
    health,
    home,
    jobs,
    lessons,
    looks,
    people,
    people_import,
    quizzes,
    readiness,
    recordings,
    results,
    signin,
    steps,
    storage,
    uploads,
)

ROUTERS = (
    looks.router,  # first: phones in a check wait for these, and every route before them costs its look
    checks.router,
    clips.router,
    disagreements.router,
    games.router,
    health.router,
    home.router,
    jobs.router,
    lessons.router,
    people_import.router,  # before people: `/people/import` is nobody's page
    people.router,
    quizzes.router,
    readiness.router,
    recordings.router,
    results.router,
    signin.router,
    steps.router,
    storage.router,
    uploads.router,
)
