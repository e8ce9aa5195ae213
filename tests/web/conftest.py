"""A served application on an empty job log, and a real browser; each is shared by a module's tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from driving import Served, launched
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


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    pages = Served(tmp_path_factory.mktemp("jobs"))
    yield pages
    pages.stop()


@pytest.fixture(scope="module")
def address(served: Served) -> str:
    return served.address


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        found = launched(p)
        yield found
        found.close()
