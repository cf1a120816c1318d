"""The pages, one module per noun. Each has a `router`; modules do not import each other."""

from app.web.pages import health, home, signin

ROUTERS = (
    health.router,
    home.router,
    signin.router,
)
