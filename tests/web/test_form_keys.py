"""Every form that changes something carries the key of the device: without it the guard refuses it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from app.web.render import TEMPLATES

FORM = re.compile(r"<form\b[^>]*method=\"post\"[^>]*>(.*?)</form>", re.DOTALL)
PAGES = sorted(path for path in Path(TEMPLATES).rglob("*.html") if FORM.search(path.read_text("utf-8")))
BUTTON = 'name="form_token" value="{{ form_token }}">'
"""In forms that are also asked what there is, by their address: the key must not stand there."""
BEFORE_SIGN_IN = {"signin/form.html"}
"""Nobody has a device yet."""


def test_there_are_forms() -> None:
    assert len(PAGES) > 20


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(TEMPLATES)))
def test_every_form_of_a_page_has_its_key(path: Path) -> None:
    forms = [found[1] for found in FORM.finditer(path.read_text("utf-8"))]
    without = [form for form in forms if "form_key()" not in form and BUTTON not in form]
    assert bool(without) is (str(path.relative_to(TEMPLATES)) in BEFORE_SIGN_IN)
