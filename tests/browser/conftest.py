"""One browser for the tests of a file: it takes longer to start than most of them to run.

Not for a whole process: while it is open, nothing else of the thread can run an event loop of its own.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.browser.crowded import Crowded, crowded
from tests.browser.stage import chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="session")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Crowded]:
    with crowded(tmp_path_factory.mktemp("crowded")) as made:
        yield made
