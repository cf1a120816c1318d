"""A disk that runs full: what is said at the work, and that it goes on once there is room."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fault.full_disk import filled_up, small_disk


@pytest.fixture
def mountable(tmp_path: Path) -> None:
    try:
        with small_disk(tmp_path / "tried"):
            pass
    except (PermissionError, FileNotFoundError) as error:
        pytest.skip(f"no small disk can be mounted here: {error}")


@pytest.mark.media
@pytest.mark.usefixtures("mountable")
def test_work_on_a_full_disk_says_so_loses_nothing_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    found = list(filled_up(tmp_path))
    assert [each.story for each in found] == ["prepare", "build"]
    for each in found:
        assert "disk is full" in each.said, each
        assert each.state == "waiting", each
        assert (each.lost, each.parts) == ([], 0), each
        assert each.same, each
