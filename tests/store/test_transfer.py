"""Job files that are damaged or hostile are refused with the reason, and leave nothing."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.store import (
    Entry,
    MemoryLog,
    StoreError,
    export_file,
    export_job,
    import_file,
    is_file,
    of_bytes,
)
from amptrail.store.transfer import read_job

AT = "2026-11-25T12:00:00+00:00"
PICTURE = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40


def whole() -> bytes:
    log = MemoryLog()
    a = of_bytes(PICTURE)
    log.add(Entry("gate", "i", "intake", AT, {"text": "dead"}, "A. Sample"))
    log.add(Entry("gate", "f", "file", AT, {"sha256": a.sha256, "size": a.size, "media": a.media}), a)
    out = io.BytesIO()
    export_file(log, "gate", out)
    return out.getvalue()


WHOLE = whole()
FILE = f"files/{hashlib.sha256(PICTURE).hexdigest()}"


def members() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as z:
        return {n: z.read(n) for n in z.namelist()}


def packed(content: dict[str, bytes], *twice: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as z:
        for name, data in content.items():
            z.writestr(name, data)
        for name in twice:
            with pytest.warns(UserWarning, match="Duplicate"):
                z.writestr(name, content[name])
    return out.getvalue()


def refused(content: bytes) -> str:
    log = MemoryLog()
    with pytest.raises(StoreError) as caught:
        import_file(log, io.BytesIO(content))
    assert log.jobs() == []
    assert caught.value.problems[0].remedy
    return caught.value.problems[0].code


def test_it_comes_back() -> None:
    log = MemoryLog()
    assert is_file(WHOLE[:8])
    assert import_file(log, io.BytesIO(WHOLE)) == ("gate", 2)
    assert log.entries("gate")[0].by == "A. Sample"
    assert b"".join(log.file(FILE[6:])) == PICTURE


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "/etc/passwd", "files/../x", "C:\\x", "files/ABC", FILE.upper(), "job.json/"]
)
def test_names_that_may_not_be_there(name: str) -> None:
    assert refused(packed({**members(), name: b"x"})) == "bad-name"


def test_a_file_twice() -> None:
    assert refused(packed(members(), FILE)) == "bad-name"


def test_a_file_that_belongs_to_nothing() -> None:
    other = hashlib.sha256(b"x").hexdigest()
    assert refused(packed({**members(), f"files/{other}": b"x"})) == "bad-name"


def test_a_file_that_is_missing() -> None:
    assert refused(packed({"job.json": members()["job.json"]})) == "missing-file"


def test_no_manifest() -> None:
    assert refused(packed({FILE: PICTURE})) == "not-a-job"


def test_an_attachment_that_is_not_what_it_says() -> None:
    assert refused(packed({**members(), FILE: PICTURE[:-1] + b"!"})) == "wrong-hash"


def test_an_entry_that_was_changed() -> None:
    text = members()["job.json"].replace(b'"dead"', b'"fine"')
    assert refused(packed({**members(), "job.json": text})) == "wrong-hash"


def test_a_manifest_that_is_no_text() -> None:
    assert refused(packed({**members(), "job.json": b"\xff\xfe"})) == "damaged"


@pytest.mark.parametrize("version", [0, 3, 99, "2", None, True, [1]])
def test_a_version_nobody_knows(version: object) -> None:
    got = json.loads(members()["job.json"])
    with pytest.raises(StoreError) as caught:
        read_job(json.dumps({**got, "amptrail-job": version}))
    assert caught.value.problems[0].code == "unknown-version"
    newer = version in (3, 99)
    assert ("update" in caught.value.problems[0].remedy) is newer


def test_the_first_version_is_still_read() -> None:
    text = '{"amptrail-job": 1, "job": "g", "entries": [{"id": "i", "kind": "note", "at": "%s", "data": {}}]}'
    assert read_job(text % AT) == [Entry("g", "i", "note", AT, {})]


def lying(size: int, content: bytes = b"\0" * 50_000_000) -> bytes:
    """A zip whose table says another size than the member unpacks to."""
    whole = packed({**members(), FILE: content})
    table = whole.rindex(b"PK\x01\x02", 0, whole.rindex(b"PK\x05\x06"))
    return whole[: table + 24] + struct.pack("<I", size) + whole[table + 28 :]


def test_a_bomb_that_says_so() -> None:
    assert refused(lying(600_000_000)) == "too-large"


def test_a_bomb_that_lies() -> None:
    """Fifty megabytes behind a table that says one hundred bytes: no more than that is unpacked."""
    assert refused(lying(100)) in ("too-large", "damaged", "wrong-hash")


def test_too_many_files() -> None:
    many = {f"files/{n:064x}": b"x" for n in range(10_002)}
    assert refused(packed({**members(), **many})) == "too-large"


@pytest.mark.parametrize("cut", [0, 1, 30, len(WHOLE) // 2, len(WHOLE) - 1])
def test_half_a_file(cut: int) -> None:
    assert refused(WHOLE[:cut]) == "damaged"


@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 255))
@settings(max_examples=150, deadline=None)
def test_any_byte_changed_is_refused_or_changes_nothing(at: int, by: int) -> None:
    bent = bytearray(WHOLE)
    bent[at] ^= by
    log = MemoryLog()
    try:
        import_file(log, io.BytesIO(bytes(bent)))
    except StoreError:
        assert log.jobs() == []
    else:
        assert [e.data.get("text") for e in log.entries("gate")] == ["dead", None]
        assert b"".join(log.file(FILE[6:])) == PICTURE


def test_text_alone_says_when_it_was_changed() -> None:
    log = MemoryLog()
    log.add(Entry("gate", "i", "intake", AT, {"text": "dead"}))
    text = export_job(log, "gate")
    assert read_job(text) == log.entries("gate")
    with pytest.raises(StoreError, match="changed or damaged"):
        read_job(text.replace("dead", "fine"))


def test_a_locked_zip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flagged = bytearray(WHOLE)
    table = WHOLE.index(b"PK\x01\x02")
    flagged[table + 8] |= 1
    assert refused(bytes(flagged)) in ("not-a-job", "damaged")


Change = Callable[[dict[str, object]], object]


@pytest.mark.parametrize(
    "change",
    [
        lambda r: r.update(id="../x\n"), lambda r: r.update(kind="reding"), lambda r: r.update(at="today"),
        lambda r: r.update(data=[1]), lambda r: r.pop("id"), lambda r: r.update(by="\n"),
        lambda r: r.update(id=None), lambda r: r.update(kind=3), lambda r: r.update(at=7),
    ],
)  # fmt: skip
def test_an_entry_that_may_not_be(change: Change) -> None:
    """Whole by its hash, and still not what an entry may be."""
    got = json.loads(members()["job.json"])
    change(got["entries"][0])
    rows = json.dumps(got["entries"], sort_keys=True, ensure_ascii=False).encode()
    got["entries_sha256"] = hashlib.sha256(rows).hexdigest()
    assert refused(packed({**members(), "job.json": json.dumps(got).encode()})) in ("bad-entry", "not-a-job")
