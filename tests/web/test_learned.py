"""What closed jobs have taught counts on the pages as on the command line."""

from __future__ import annotations

import re

from fastapi.testclient import TestClient

from amptrail.jobs.judging.suspects import SuspectOptions, suspects
from amptrail.jobs.log.lessons import history
from amptrail.jobs.starters import template
from amptrail.web import store
from amptrail.web.views import plain

RELAY = template("relay-load").sheet
FAILS = "pump-runs in running does not work"


def begun(client: TestClient, name: str) -> None:
    key = re.search(r'name="key" value="([^"]+)"', client.get("/new").text)[1]  # type: ignore[index]
    client.post("/new", data={"name": name, "sheet": RELAY, "key": key})
    client.post(f"/api/jobs/{name}/entries", json={"entries": [{"id": f"{name}-1", "line": FAILS}]})


def test_the_page_ranks_by_what_closed_jobs_taught(client: TestClient) -> None:
    from amptrail.jobs.log.cases import run

    for n in range(4):
        begun(client, f"was-{n}")
        run("conclude", f"was-{n}", ["G1 resistance 3 ohm"], lambda _: "")
        run("close", f"was-{n}", [], lambda _: "")
    store.LEARNED.clear()
    begun(client, "now-1")
    taught = history("now-1")
    assert taught.jobs
    page = client.get("/job/now-1").text
    ranked = suspects(RELAY, FAILS + "\n", SuspectOptions(history=taught))["suspects"]
    listed = re.findall(r"<li><strong>([^<]+)</strong> <small>", page.split("Still fits")[1])
    assert [x.replace("&gt;", ">") for x in listed[:3]] == [plain(r["text"]) for r in ranked[:3]]
    assert "Beforehand: " in page
