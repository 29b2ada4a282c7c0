"""Records that many tests of the desk begin with; each is made once and copied."""

import shutil
from pathlib import Path

import pytest

from tests.desk.set_up_world import COORDINATOR, REAL, Desk, to_the_freezer


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """An empty folder."""
    return Desk(tmp_path)


@pytest.fixture(scope="session")
def _circle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = Desk(tmp_path_factory.mktemp("circle"))
    made.said("programme", made.file("circle.toml", REAL + COORDINATOR))
    return made.folder


@pytest.fixture
def circle(desk: Desk, _circle: Path) -> Desk:
    """A record with the real programme of the invented circle, and one coordinator."""
    shutil.copytree(_circle, desk.folder, dirs_exist_ok=True)
    return desk


@pytest.fixture(scope="session")
def _frozen(tmp_path_factory: pytest.TempPathFactory, _circle: Path) -> Desk:
    made = Desk(tmp_path_factory.mktemp("frozen"))
    shutil.copytree(_circle, made.folder, dirs_exist_ok=True)
    made.code = to_the_freezer(made)
    return made


@pytest.fixture
def frozen(desk: Desk, _frozen: Desk) -> Desk:
    """The circle's record with a visit that was closed and frozen."""
    shutil.copytree(_frozen.folder, desk.folder, dirs_exist_ok=True)
    desk.code = _frozen.code
    return desk
