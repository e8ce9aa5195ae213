"""A served application on an empty job log; the asking process is shared by a module's tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from amptrail.web import create_app

PAGE = {"accept": "text/html"}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("jobs")
    patch = pytest.MonkeyPatch()
    patch.setenv("AMPTRAIL_HOME", str(folder))
    yield folder
    patch.undo()


@pytest.fixture(scope="module")
def client(home: Path) -> Iterator[TestClient]:
    with TestClient(create_app(longest_s=120.0), headers=PAGE) as c:
        yield c
