"""Papers and files of a job on the pages, without a browser."""

from __future__ import annotations

import io
from html import unescape

import pypdfium2
import pytest
from fastapi.testclient import TestClient
from PIL import Image
from test_pages import begin

from amptrail.jobs.log.cases import run


def _no_files(name: str) -> str:
    raise AssertionError(name)


def text_of(content: bytes) -> str:
    pages = pypdfium2.PdfDocument(content)
    return " ".join(" ".join(p.get_textpage().get_text_bounded() for p in pages).split())


@pytest.fixture(scope="module")
def key(client: TestClient) -> str:
    found = begin(client, "paper-1", "the pump is dead")
    run("set", "paper-1", ["rate=95 ; currency=EUR ; vat=19"], _no_files)
    run("time", "paper-1", ["drive 40"], _no_files)
    return found


def test_the_page_names_what_there_is(client: TestClient, key: str) -> None:
    page = client.get("/job/paper-1/papers").text
    for words in ("Findings", "Quote", "Invoice", "Talk slip", "PDF de"):
        assert words in page
    assert "Notice" not in page  # nothing temporary is fitted
    assert "/job/paper-1/papers" in client.get("/job/paper-1").text


def test_papers_as_files(client: TestClient, key: str) -> None:
    got = client.get("/job/paper-1/paper/findings.pdf")
    assert got.headers["content-type"] == "application/pdf"
    assert 'filename="paper-1-findings.pdf"' in got.headers["content-disposition"]
    assert "the pump is dead" in text_of(got.content)
    bill = client.get("/job/paper-1/paper/invoice.pdf?language=de&sheet=letter")
    assert "75,36 EUR" in text_of(bill.content)  # 40 min at 95.00 are 63.33, 19 % of it 12.03
    page = client.get("/job/paper-1/paper/slip.html")
    assert page.headers["content-disposition"].startswith("attachment")
    assert "<h1>What we can do today" in page.text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/job/paper-1/paper/nothing.pdf", 422), ("/job/paper-1/paper/findings.exe", 422),
        ("/job/paper-1/paper/notice.pdf", 422), ("/job/paper-1/paper/label.pdf?where=roof", 422),
        ("/job/paper-1/paper/slip.pdf?language=xx", 422), ("/job/paper-1/paper/slip.pdf?sheet=a9", 422),
        ("/job/nobody/paper/findings.pdf", 404), ("/job/nobody/papers", 404), ("/job/paper-1/file/none", 404),
    ],
)  # fmt: skip
def test_what_there_is_not(client: TestClient, key: str, path: str, status: int) -> None:
    got = client.get(path)
    assert got.status_code == status
    assert "Traceback" not in got.text


def test_a_photograph_from_the_phone(client: TestClient, key: str) -> None:
    out = io.BytesIO()
    Image.effect_noise((60, 40), 90).convert("RGB").save(out, "JPEG")
    sent = {"file": ("../../etc/IMG<1>.jpg", out.getvalue(), "image/png")}
    page = client.post("/job/paper-1/files", data={"key": key, "words": "green at the eye"}, files=sent)
    assert page.status_code == 200
    assert "green at the eye" in page.text
    (row,) = run("show", "paper-1", [], _no_files)["state"]["files"]
    assert (row["name"], row["media"]) == ("IMG<1>.jpg", "image/jpeg")  # by its content, whatever was said
    got = client.get(f"/job/paper-1/file/{row['id']}")
    assert got.content == out.getvalue()
    assert got.headers["content-type"] == "image/jpeg"
    assert "green at the eye" in text_of(client.get("/job/paper-1/paper/findings.pdf").content)


def test_a_page_in_disguise_is_handed_over_and_not_shown(client: TestClient, key: str) -> None:
    sent = {"file": ("x.jpg", b"<html><script>alert(1)</script>", "image/jpeg")}
    client.post("/job/paper-1/files", data={"key": key}, files=sent)
    row = run("show", "paper-1", [], _no_files)["state"]["files"][-1]
    got = client.get(f"/job/paper-1/file/{row['id']}")
    assert got.headers["content-type"] == "application/octet-stream"
    assert got.headers["content-disposition"].startswith("attachment")


def test_no_file_without_our_own_form(client: TestClient, key: str) -> None:
    sent = {"file": ("x.txt", b"hello", "text/plain")}
    assert client.post("/job/paper-1/files", data={"key": "wrong"}, files=sent).status_code == 403
    empty = {"file": ("x.txt", b"", "text/plain")}
    assert client.post("/job/paper-1/files", data={"key": key}, files=empty).status_code == 422


def test_a_job_is_closed_where_its_papers_are(client: TestClient) -> None:
    key = begin(client, "gone-1", "the pump is dead")
    assert "Close the job" in client.get("/job/gone-1/papers").text
    assert client.post("/job/gone-1/close", data={"key": "wrong"}).status_code == 403
    for _ in range(2):  # a second tap closes it once
        doors = client.post("/job/gone-1/close", data={"key": key}).text
        assert "/job/gone-1" in doors.split("Closed lately")[1]
        assert "/job/gone-1" not in doors.split("Closed lately")[0]
    assert [e["kind"] for e in run("show", "gone-1", [], _no_files)["entries"]].count("close") == 1
    assert "This job is closed" in client.get("/job/gone-1/papers").text


def test_a_paper_names_the_vehicle_and_never_the_template(client: TestClient) -> None:
    key = begin(client, "named-0")
    sheet = client.get("/new?template=relay-load").text.split("<textarea")[1].split(">", 1)[1]
    body = {"sheet": unescape(sheet.split("</textarea>")[0]), "template": "relay-load", "key": key}
    client.post("/new", data={**body, "name": "named-1", "vehicle": 'Yard "loader" 7'})
    client.post("/new", data={**body, "name": "named-2"})
    assert "Yard 'loader' 7" in text_of(client.get("/job/named-1/paper/findings.pdf").content)
    assert "Relay-fed load" not in text_of(client.get("/job/named-2/paper/findings.pdf").content)
