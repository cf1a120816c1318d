"""Static files under the name of their build: they never change, so browsers may keep them, and text goes out packed.

Pages are not packed: they hold what is secret beside what somebody typed, and the length of both would tell.
"""

from __future__ import annotations

import gzip
from functools import cache
from pathlib import Path

from starlette.datastructures import Headers
from starlette.responses import FileResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

TEXTS = frozenset({".css", ".js", ".svg", ".webmanifest"})


class KeptStatic(StaticFiles):
    """A folder of static files."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """One file."""
        response = await super().get_response(path, scope)
        if isinstance(response, FileResponse) and Path(path).suffix in TEXTS:
            if "gzip" in Headers(scope=scope).get("accept-encoding", ""):
                response = Response(_packed(str(response.path)), media_type=response.media_type)
                response.headers["Content-Encoding"] = "gzip"
            response.headers["Vary"] = "Accept-Encoding"
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


@cache
def _packed(path: str) -> bytes:
    """A file as it goes out. Packed once as small as it gets: there are few, and none ever changes."""
    return gzip.compress(Path(path).read_bytes(), 9, mtime=0)
