"""Photographs for paper, made and read again with an independent library (Pillow)."""

from __future__ import annotations

import io

import pytest
from PIL import Image, PngImagePlugin

from amptrail.paper import Paper, html, pdf
from amptrail.paper.blocks import A4
from amptrail.paper.facts import CaseFacts
from amptrail.paper.findings import findings
from amptrail.paper.pictures import paperworthy

GPS, MAKE, ORIENTATION = 0x8825, 0x010F, 0x0112


def photograph(turned: int = 6, order: str = "MM") -> bytes:
    picture = Image.effect_noise((64, 48), 80).convert("RGB")
    exif = Image.Exif()
    exif.endian = "<" if order == "II" else ">"
    exif[ORIENTATION] = turned
    exif[MAKE] = "Secret Camera"
    exif.get_ifd(GPS)[1] = "N"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=b"at home")
    return out.getvalue()


@pytest.mark.parametrize("turned", [1, 3, 6, 8])
@pytest.mark.parametrize("order", ["MM", "II"])
def test_the_picture_stays_and_the_place_goes(turned: int, order: str) -> None:
    before = photograph(turned, order)
    assert b"Secret Camera" in before
    after = paperworthy(before, "image/jpeg")
    assert after is not None
    assert b"Secret" not in after
    assert b"at home" not in after
    was, now = Image.open(io.BytesIO(before)), Image.open(io.BytesIO(after))
    assert now.tobytes() == was.tobytes()
    assert now.getexif().get(ORIENTATION, 1) == turned
    assert set(now.getexif()) <= {ORIENTATION}


def test_a_png_too() -> None:
    picture = Image.effect_noise((40, 30), 80)
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Author", "Secret Person")
    out = io.BytesIO()
    picture.save(out, "PNG", pnginfo=notes)
    after = paperworthy(out.getvalue(), "image/png")
    assert after is not None
    assert b"Secret" not in after
    assert Image.open(io.BytesIO(after)).tobytes() == picture.tobytes()


@pytest.mark.parametrize("media", ["image/jpeg", "image/png"])
def test_what_is_no_whole_picture_stays_away(media: str) -> None:
    whole = photograph() if media == "image/jpeg" else b"\x89PNG\r\n\x1a\n"
    for bad in (
        b"",
        b"\xff\xd8",
        b"hello",
        whole[: len(whole) // 2],
        b"\xff\xd8\xff\xe1\xff\xff" + b"x" * 90,
    ):
        assert paperworthy(bad, media) is None


def test_photographs_in_the_findings() -> None:
    content = paperworthy(photograph(), "image/jpeg")
    assert content is not None
    facts = CaseFacts("gate", "2026-11-25", "", photographs=(("image/jpeg", content, "green at the eye"),))
    paper: Paper = findings(facts, A4)
    assert len(pdf(paper)) > len(content)
    page = html(paper)
    assert "green at the eye" in page
    assert "data:image/jpeg;base64," in page
