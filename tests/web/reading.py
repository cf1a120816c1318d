"""Pages as somebody reads them."""

from __future__ import annotations

import re


def words(page: str) -> str:
    """What the main part of a page says, without its markup."""
    return " ".join(re.sub(r"<[^>]*>", " ", page.split("<main", 1)[1]).split())
