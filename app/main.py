"""The application: engine, files, pages and errors wired together. The only wiring there is."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

import uvicorn
from fastapi import Depends, FastAPI
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from app.actions.league import NEW, found_league
from app.actions.upload import settle_uploads
from app.adapters.files import Library
from app.adapters.queue import QUEUE, Queue, hang, take_down
from app.domain.errors import Unready
from app.settings import Settings
from app.store.engine import Database
from app.store.migrate import migrate
from app.web import errors, pages
from app.web.auth import guard
from app.web.front import Front
from app.web.limits import MOST_BODY, Guesses
from app.web.pages.media import ROUTE as MEDIA
from app.web.recent import Recent
from app.web.render import STATIC, build
from app.web.security import SafeHeaders, SameOrigin
from app.web.sending import OpenFiles
from app.web.tus import SpeaksTus, Writers
from app.web.wire import Wire
from app.worker import Worker


class KeptStatic(StaticFiles):
    """Static files under the name of their build: they never change, so browsers may keep them."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """One file."""
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


def create_app(settings: Settings) -> FastAPI:
    """An application on one data folder; its database is migrated and opened when it starts."""

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        open_league(app, settings)
        try:
            with work(app, settings):
                yield
        finally:
            app.state.open_files.close()
            app.state.database.close()

    app = FastAPI(
        title="Pennon", docs_url=None, redoc_url=None, openapi_url=None, lifespan=life, dependencies=[Depends(guard)]
    )
    app.state.settings = settings
    app.state.guesses = Guesses()
    app.state.recent = Recent()
    app.state.writers = Writers()
    app.state.open_files = OpenFiles()
    app.add_middleware(SpeaksTus)
    app.add_middleware(SameOrigin)
    app.add_middleware(SafeHeaders)
    app.mount(f"/static/{build()}", KeptStatic(directory=STATIC), name="static")
    app.router.routes.append(MEDIA)
    for router in pages.ROUTERS:
        app.include_router(router, max_body_size=MOST_BODY)
    errors.install(app)
    return app


def open_league(app: FastAPI, settings: Settings) -> None:
    """Open the database and files of the data folder; an older database is brought to the newest tables first."""
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings.database_url)
    state = app.state
    state.database = Database(settings.database_url)
    state.library = Library(settings.data)
    state.is_https = urlsplit(settings.url).scheme == "https"
    state.plain_http = not state.is_https and not is_loopback(urlsplit(settings.url).hostname or "")
    facts = state.database.change(found_league, NEW, is_demo=False, now=datetime.now(UTC))
    state.secret, state.league = facts.secret, facts.about
    settle_uploads(state.database, state.library, now=datetime.now(UTC))


@contextmanager
def work(app: FastAPI, settings: Settings) -> Iterator[None]:
    """Meanwhile orders of long work ring the bell, and this process does the work too, unless it is told not to."""
    state = app.state
    queue = Queue(settings.data / QUEUE)
    worker = Worker(state.database, state.library, queue) if settings.worker else None
    hang(queue)
    try:
        if worker is not None:
            worker.start()
        yield
    finally:
        if worker is not None:
            worker.stop()
        take_down(queue)
        queue.close()


def server_of(app: FastAPI) -> uvicorn.Server:
    """What answers browsers for an application. It stops gracefully, for as long as a page takes."""
    return uvicorn.Server(
        uvicorn.Config(Front(app), http=Wire, log_level="warning", server_header=False, timeout_graceful_shutdown=10)
    )


def listening(settings: Settings) -> socket.socket:
    """The address of the settings, taken for this server, which answers once it runs. Raises Unready, in words."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    # Named as TCP, or asyncio would leave Nagle's algorithm on, and each answer would wait 40 ms for the last one's.
    taken = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((settings.host, settings.port))
        taken.listen(2048)
    except OSError as error:
        taken.close()
        what = error.strerror or str(error)
        raise Unready(
            f"{settings.host}:{settings.port} cannot be listened at ({what}). Stop the program that does, "
            "or name another address in PENNON_PORT and PENNON_HOST. Nothing was changed."
        ) from error
    return taken


def is_loopback(host: str) -> bool:
    """Whether an address means this machine alone."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or Path(host).name.endswith(".localhost")
