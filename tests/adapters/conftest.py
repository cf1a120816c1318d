"""What several tests of this folder share: recordings that take seconds to film are filmed once."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from app.adapters.files import Library
from tests.adapters import tapes


@pytest.fixture(scope="session")
def filmed_shelf(tmp_path_factory: pytest.TempPathFactory) -> tapes.Shelf:
    """Two prepared recordings; to be read, not changed."""
    return tapes.shelf(tmp_path_factory.mktemp("shelf"))


@pytest.fixture
def shelf(filmed_shelf: tapes.Shelf, tmp_path: Path) -> tapes.Shelf:
    """The two recordings in a library of the test's own, with an empty cache."""
    root = tmp_path / "library"
    shutil.copytree(filmed_shelf.library.root / "prepared", root / "prepared")
    return replace(filmed_shelf, library=Library(root))
