"""The pages, one module per noun. Each has a `router`; modules do not import each other."""

from app.web.pages import health, home, jobs, lessons, media, readiness, recordings, signin

ROUTERS = (
    health.router,
    home.router,
    jobs.router,
    lessons.router,
    media.router,
    readiness.router,
    recordings.router,
    signin.router,
)
