"""The pages, one module per noun. Each has a `router`; modules do not import each other."""

from app.web.pages import clips, health, home, jobs, lessons, media, people, people_import, readiness, recordings, signin

ROUTERS = (
    clips.router,
    health.router,
    home.router,
    jobs.router,
    lessons.router,
    media.router,
    people_import.router,  # before people: `/people/import` is nobody's page
    people.router,
    readiness.router,
    recordings.router,
    signin.router,
)
