"""Earlier jobs are found by plate, name, complaint or part, and a vehicle that is back opens beside its old
job."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient

from amptrail.jobs.log.cases import case
from amptrail.jobs.starters import template


def _key(page: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page)
    assert found
    return found[1]


@pytest.fixture(scope="module")
def old(client: TestClient) -> TestClient:
    key = _key(client.get("/new").text)
    sheet = template("relay-load").sheet
    form = {"template": "relay-load", "sheet": sheet, "key": key}
    more = {"name": "harvest-7", "vehicle": "Beet lifter QX 123", "complaint": "the elevator stands still"}
    assert client.post("/new", data=form | more).status_code == 200
    client.post("/new", data=form | {"name": "other-1", "vehicle": "Loader", "complaint": "horn silent"})
    client.post("/job/harvest-7/proven", data={"line": "K1 stuck off", "key": key})
    client.post("/job/harvest-7/proven", data={"line": "", "cause": "water in the box", "key": key})
    client.post("/job/harvest-7/close", data={"key": key})
    return client


@pytest.mark.parametrize("q", ["qx 123", "harvest", "Elevator", "K1", "water box"])
def test_a_job_is_found_by_what_somebody_remembers(old: TestClient, q: str) -> None:
    page = old.get("/find", params={"q": q}).text
    assert page.index("harvest-7") < page.find("other-1") or "other-1" not in page
    assert "K1 stuck off" in page
    assert "water in the box" in page


def test_no_job_and_no_word_say_so(old: TestClient) -> None:
    assert "No job speaks of it" in old.get("/find", params={"q": "submarine"}).text
    assert "no word to look for" in old.get("/find", params={"q": "the"}).text
    assert 'action="/find"' in old.get("/").text


def test_a_vehicle_that_is_back_opens_beside_the_old_job(old: TestClient) -> None:
    page = old.get("/job/harvest-7/again").text
    assert 'value="harvest-7-2"' in page
    form = {"new": "harvest-back", "complaint": "still again", "key": _key(page)}
    page = old.post("/job/harvest-7/again", data=form).text
    assert "It was here before" in page
    assert "K1 stuck off" in page and "water in the box" in page
    assert case("harvest-back").state.complaint == "still again"
    again = old.post("/job/harvest-7/again", data=form)
    assert again.status_code == 422
    assert "still again" in again.text  # what was typed is not lost
    assert old.post("/job/harvest-7/again", data=form | {"key": "guess"}).status_code == 403
