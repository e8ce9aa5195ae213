"""The pages without a browser: every form works without scripts."""

from __future__ import annotations

import re
from html import unescape

from fastapi.testclient import TestClient

from amptrail.jobs.log.cases import case
from amptrail.jobs.starters import template, templates
from amptrail.sheet import parse, parse_readings


def key_of(page: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page)
    assert found
    return found[1]


def begin(client: TestClient, name: str, complaint: str = "dead") -> str:
    key = key_of(client.get("/new").text)
    data = {
        "name": name,
        "template": "relay-load",
        "sheet": template("relay-load").sheet,
        "complaint": complaint,
        "key": key,
    }
    page = client.post("/new", data=data)
    assert page.status_code == 200, page.text
    return key


def test_four_doors(client: TestClient) -> None:
    page = client.get("/").text
    for words in ("What should I read here?", "Which part is it?", "May I bridge this?", "Why is it flat?"):
        assert words in page


def test_a_template_with_nothing_filled_in_says_what_to_read(client: TestClient) -> None:
    page = client.get("/read/relay-load").text
    assert "<svg" in page
    assert re.search(r'data-point="K1.87".*?<td>1[12]\.\d\d V to 1[23]', page, re.DOTALL)
    lamp = client.get("/read/relay-load?phase=asleep&instrument=lamp").text
    assert re.search(r'data-point="K1.87".*?<td>about 0 V', lamp, re.DOTALL)


def test_a_job_by_forms_alone(client: TestClient) -> None:
    key = begin(client, "forms-1", "the pump does not run")
    page = client.get("/job/forms-1").text
    assert "Go to" in page
    assert "the pump does not run" in page
    line = re.search(r'name="line" value="([^"]*\{value\}[^"]*)"', page)
    assert line
    added = client.post(
        "/job/forms-1/add", data={"line": "PUMP in running {value}", "value": "does not work", "key": key}
    )
    assert "PUMP in running does not work" in added.text
    again = client.post(
        "/job/forms-1/add", data={"line": "K1.87 in running meter 14.1 V", "key": key, "unsure": "1"}
    )
    assert "K1.87 in running meter 14.1 V unsure" in again.text
    assert "Still fits" in again.text
    back = client.post("/job/forms-1/undo", data={"entry": "", "key": key})
    assert "K1.87 in running meter 14.1 V unsure" not in back.text


def test_the_same_entry_twice_counts_once(client: TestClient) -> None:
    begin(client, "twice-1")
    body = {"entries": [{"id": "a1", "line": "PUMP in running does not work"}]}
    for _ in range(2):
        got = client.post("/api/jobs/twice-1/entries", json=body).json()
        assert (got["added"], got["entries"]) == (["a1"], 1)


def test_what_is_not_accepted_is_told_and_the_rest_goes_on(client: TestClient) -> None:
    begin(client, "some-1")
    lines = ["NOBODY in running meter 3 V", "PUMP in running does not work"]
    got = client.post(
        "/api/jobs/some-1/entries",
        json={"entries": [{"id": f"b{k}", "line": x} for k, x in enumerate(lines)]},
    ).json()
    assert [r["id"] for r in got["refused"]] == ["b0"]
    assert not got["refused"][0]["message"].startswith("readings")
    assert got["added"] == ["b1"]


def test_other_pages_of_the_job_are_told(client: TestClient) -> None:
    begin(client, "live-1")
    with client.websocket_connect("/job/live-1/live") as page:
        client.post(
            "/api/jobs/live-1/entries",
            json={"entries": [{"id": "c1", "line": "PUMP in running does not work"}]},
        )
        assert page.receive_json() == {"entries": 1}


def test_a_doubtful_reading_is_shown_in_its_words(client: TestClient) -> None:
    begin(client, "doubt-1")
    lines = ["PUMP in running works", "PUMP.in in running meter 0.1 V", "X1.1 in running meter 12.3 V"]
    client.post(
        "/api/jobs/doubt-1/entries",
        json={"entries": [{"id": f"d{k}", "line": x} for k, x in enumerate(lines)]},
    )
    page = client.get("/job/doubt-1").text
    told = re.search(r'class="problem"[^>]*>(.*?)</p>', page, re.DOTALL)
    assert told
    assert any(line in told[1] for line in lines)
    assert "`" not in re.sub(r"<input[^>]*>", "", page)


def test_text_is_shown_as_text(client: TestClient) -> None:
    hostile = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    begin(client, "text-1", hostile)
    page = client.get("/job/text-1").text
    assert "<script>alert" not in page
    assert "onerror=alert(2)>" not in page.replace("&gt;", "")
    assert "&lt;script&gt;alert(1)" in page


def test_wrong_input_is_told_with_a_remedy(client: TestClient) -> None:
    key = key_of(client.get("/new").text)
    page = client.post("/new", data={"name": "bad-1", "sheet": "batery BAT 12 V", "key": key})
    assert page.status_code == 422
    assert "Line 1" in page.text
    assert "batery BAT 12 V" in page.text  # nothing typed is lost
    assert client.get("/job/nobody").status_code == 404
    assert client.get("/read/nothing").status_code == 404
    assert (
        client.post(
            "/new", data={"name": "../../etc", "sheet": template("glow").sheet, "key": key}
        ).status_code
        == 422
    )
    assert client.get("/no-such-page").status_code == 404


def test_a_feed_is_judged(client: TestClient) -> None:
    begin(client, "feed-1")
    text = "from BAT.+ to PUMP.in fuse 30 A wire 0.35 mm2 3 m"
    page = client.get("/job/feed-1/feed", params={"text": text}).text
    assert "REFUSED" in page
    assert "CAUTION" in page


def test_every_template_is_a_sound_sheet_that_works_when_healthy() -> None:
    """Each `must` of a template, on and off, holds in its own healthy cycle, in both orders of switching."""
    from amptrail.jobs.check import check
    from amptrail.jobs.cycle import CycleOptions, cycle

    assert len(templates()) == 9
    for t in templates():
        assert check(t.sheet)["problems"] == [], t.name
        for order in ("settle", "time"):
            told = cycle(t.sheet, CycleOptions(order=order))["functions"]
            assert told, t.name
            assert [(f["name"], f["phase"], f["wanted"]) for f in told if not f["holds"]] == [], (
                t.name,
                order,
            )
            assert {"on", "off"} <= {f["wanted"] for f in told} or t.name in NEVER_OFF, t.name


NEVER_OFF = ("three-wire-sensor",)  # its `must` says only what the signal is while the module lives


def test_the_interface_is_told_to_people_from_its_own_schema(client: TestClient) -> None:
    page, schema = client.get("/api/docs").text, client.get("/api/openapi.json").json()
    for path, methods in schema["paths"].items():
        assert all(f"{m.upper()} {path}" in page for m in methods)
    assert "must be there" in page and "battery_ah" in page and "http" not in page


def test_openapi(client: TestClient) -> None:
    spec = client.get("/api/openapi.json").json()
    assert "/api/expect" in spec["paths"]
    assert not any(p.startswith("/job") for p in spec["paths"])


def lines_of(client: TestClient, job: str) -> list[str]:
    return [r["line"] for r in client.get(f"/api/jobs/{job}").json()["readings"]]


def send(client: TestClient, job: str, *entries: dict[str, str]) -> dict[str, list[object]]:
    got = client.post(f"/api/jobs/{job}/entries", json={"entries": list(entries)})
    assert got.status_code == 200, got.text
    return dict(got.json())


def test_a_reading_with_its_conditions_is_one_thing_said(client: TestClient) -> None:
    begin(client, "whole-1")
    three = "with K1 out\nK1.87 in running meter 0.0 V\nwithout conditions"
    send(client, "whole-1", {"id": "w1", "line": three})
    assert lines_of(client, "whole-1") == three.split("\n")
    assert "with K1 out · K1.87 in running meter 0.0 V" in client.get("/job/whole-1").text
    send(client, "whole-1", {"id": "w2", "kind": "undo", "line": "w1"})
    assert lines_of(client, "whole-1") == []


def test_no_condition_stands_by_accident_when_its_reading_is_refused(client: TestClient) -> None:
    begin(client, "half-1")
    bad = "with K1 out\nK1.87 in running meter plenty\nwithout conditions"
    got = send(client, "half-1", {"id": "h1", "line": bad})
    assert (got["added"], len(got["refused"])) == ([], 1)
    assert lines_of(client, "half-1") == []


def test_a_unit_counts_without_scripts_too(client: TestClient) -> None:
    key = begin(client, "unit-1")
    form = {"line": "F_LOAD in asleep fuse-drop {value}", "value": "1,5", "unit": "mV", "key": key}
    client.post("/job/unit-1/add", data=form)
    assert lines_of(client, "unit-1") == ["F_LOAD in asleep fuse-drop 1.5 mV"]


def test_proven_by_the_repair_and_taken_back(client: TestClient) -> None:
    begin(client, "cured-1")
    send(client, "cured-1", {"id": "c1", "kind": "proven", "line": "K1 stuck off"})
    page = client.get("/job/cured-1").text
    assert "Proven: K1 stuck off" in page
    assert "What caused it" in page
    key = key_of(page)
    kept = client.post("/job/cured-1/proven", data={"line": "", "cause": "water in the box", "key": key})
    assert "water in the box" in kept.text
    assert "Proven: K1 stuck off" in kept.text
    refused = send(client, "cured-1", {"id": "c2", "kind": "proven", "line": "K1 melted away"})
    assert refused["refused"]
    send(client, "cured-1", {"id": "c3", "kind": "undo", "line": ""})  # fault, cause and repair in one
    assert "Proven" not in client.get("/job/cured-1").text
    assert case("cured-1").state.repairs == ()


def test_the_repair_that_proved_it_is_told_by_the_papers(client: TestClient) -> None:
    begin(client, "cured-2")
    send(client, "cured-2", {"id": "d1", "kind": "reading", "line": "LOAD in running does not work"})
    line = "K1 stuck off\nreplace K1"
    send(client, "cured-2", {"id": "d2", "kind": "proven", "line": line})
    send(client, "cured-2", {"id": "d2", "kind": "proven", "line": line})  # sent twice, told once
    assert [r["text"] for r in case("cured-2").state.repairs] == ["replace K1"]
    paper = client.get("/job/cured-2/paper/findings.html").text
    assert "replace K1" in paper.split("Done", 1)[1].split("good when", 1)[0]


def test_practice_by_forms_alone(client: TestClient) -> None:
    key = key_of(client.get("/practice").text)
    form = {"circuit": "template:relay-load", "seed": "5", "key": key}
    page = client.post("/practice", data=form).text
    assert re.search(r"The owner says: <strong>PUMP \([\w-]+\) (does not work|still works) in", page)
    page = client.post("/practice", data=form | {"point": "K1.87", "phase": "running"}).text
    tries = re.search(r'name="tries" value="([^"]*)"', page)
    assert tries
    assert "K1.87 in running meter" in tries[1]
    wrong = client.post("/practice", data=form | {"tries": tries[1], "ask": "NOBODY in running ?"})
    assert wrong.status_code == 422
    assert tries[1].strip() in wrong.text  # nothing tried is lost
    end = client.post("/practice", data=form | {"tries": tries[1], "ask": "give up"}).text
    assert "The better choice each time" in end
    assert client.post("/practice", data=form | {"key": "guess"}).status_code == 403


def test_every_point_of_the_drawing_can_be_tapped_and_read(client: TestClient) -> None:
    for t in (template("relay-load"), template("can-pair")):
        page = client.get(f"/read/{t.name}").text
        svg, table = page.split("</svg>")[0], page.split("</svg>")[-1]
        drawn = {unescape(p) for p in re.findall(r'data-point="([^"]+)"', svg)}
        rows = {unescape(p) for p in re.findall(r'<tr[^>]* data-point="([^"]+)"', table)}
        assert drawn and drawn <= rows, t.name
        begin_as = f"tap-{t.name}"
        client.post("/new", data={"name": begin_as, "sheet": t.sheet, "key": key_of(client.get("/new").text)})
        lines = re.findall(r'data-line="([^"]+)"', client.get(f"/job/{begin_as}/circuit").text)
        assert len(lines) > len(drawn) / 2
        text = "".join(
            unescape(x).replace("{value}", "1 A" if " clamp " in x else "1 V") + "\n" for x in lines
        )
        assert parse_readings(parse(t.sheet), text)  # each is a reading that would be taken


def test_fault_feed_and_trail_change_the_drawing_and_are_kept_together(client: TestClient) -> None:
    client.post("/new", data={"name": "drawn-1", "sheet": template("relay-load").sheet,
                              "key": key_of(client.get("/new").text)})  # fmt: skip
    feed = "from F_LOAD.out to X1.1.a wire 2.5 mm2 1 m"
    asked = {"phase": "running", "fault": "K1 stuck off", "feed": feed, "trail": "PUMP.in"}
    at = "/job/drawn-1/circuit"
    pages = [client.get(at, params=dict(list(asked.items())[: n + 1])).text for n in range(4)]
    drawings = [p[p.index("<svg") : p.index("</svg>")] for p in pages]
    assert len(set(drawings)) == 4

    def pump(page: str) -> str:
        return re.search(r'<tr[^>]*data-point="X1.1.b".*?<td>([^<]+)', page, re.DOTALL)[1]  # type: ignore[index]

    healthy, dead, fed, trail = map(pump, pages)
    assert healthy.startswith("1") and dead.startswith("about 0") and fed.startswith("1") and trail == fed
    assert "all else faded" in pages[3]
    for name, value in asked.items():  # a choice carries the others on
        assert pages[3].count(f'name="{name}" value="{value}"') >= 2, name
    wrong = client.get(at, params={**asked, "trail": "NO.1"})
    assert wrong.status_code == 422 and "Back to drawn-1" in wrong.text


def test_a_feed_that_holds_is_fitted_and_taken_out_from_the_page(client: TestClient) -> None:
    key = key_of(client.get("/new").text)
    client.post("/new", data={"name": "fit-1", "sheet": template("relay-load").sheet, "key": key})
    page = client.get("/job/fit-1/feed", params={"restore": "PUMP", "purpose": "home"}).text
    text = unescape(re.search(r'name="text" value="([^"]+)"><input type="hidden" name="purpose"', page)[1])  # type: ignore[index]
    told = {"text": text, "purpose": "home", "until": "Friday", "key": key}
    got = client.post("/job/fit-1/fit", data=told)
    assert got.url.path == "/job/fit-1/papers" and "Label for the" in got.text
    page = client.get("/job/fit-1/feed").text
    name = re.search(r'name="feed" value="([^"]+)"', page)[1]  # type: ignore[index]
    assert "<small>in the vehicle</small>" in client.get("/job/fit-1/circuit").text
    drawn = client.get("/job/fit-1/circuit", params={"feed": name})
    assert drawn.status_code == 200 and f"with the feed {name}" in drawn.text
    assert (
        client.post(
            "/job/fit-1/fit", data={**told, "text": "from BAT.+ to PUMP.in wire 1 mm2 1 m"}
        ).status_code
        == 422
    )
    assert client.post("/job/fit-1/taken-out", data={"feed": "NOBODY", "key": key}).status_code == 422
    got = client.post("/job/fit-1/taken-out", data={"feed": name, "key": key})
    assert got.status_code == 200 and "In the vehicle" not in got.text


def test_a_job_is_called_as_the_customer_is(client: TestClient) -> None:
    begin(client, "Müller Förderpumpe 2")
    page = client.get("/job/M%C3%BCller%20F%C3%B6rderpumpe%202")
    assert page.status_code == 200 and "Müller Förderpumpe 2" in page.text
    got = client.post(
        "/api/jobs/M%C3%BCller%20F%C3%B6rderpumpe%202/entries",
        json={"entries": [{"id": "m1", "line": "PUMP in running does not work"}]},
    ).json()
    assert got["added"] == ["m1"]
    assert client.get("/job/M%C3%BCller%20F%C3%B6rderpumpe%202/papers").status_code == 200
