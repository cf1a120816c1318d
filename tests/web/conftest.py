"""A league with something at every address, made once for all tests that only look, or are refused."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.web.filled import Filled, filled


@pytest.fixture(scope="session")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Filled]:
    with filled(tmp_path_factory.mktemp("full")) as made:
        yield made
