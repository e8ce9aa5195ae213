"""With --tls: the page is loaded again while the laptop is away, and what is said then arrives when it is
back. The certificate is checked by the rules of RFC 5280 through another library's verifier."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import ipaddress
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from driving import Served, begin, device, launched, needs_browser, own, said

from amptrail.web.certificate import own as certificates

NAMES = ("192.168.7.20", "127.0.0.1", "bench-laptop.local")


def chain(folder: Path) -> tuple[x509.Certificate, x509.Certificate]:
    files = certificates(folder, NAMES)
    leaf = x509.load_pem_x509_certificates(files.certificate.read_bytes())[0]
    return leaf, x509.load_pem_x509_certificate(files.authority.read_bytes())


def test_a_browser_would_take_the_certificate_for_these_names_only(tmp_path: Path) -> None:
    leaf, root = chain(tmp_path)
    policy = PolicyBuilder().store(Store([root]))
    policy.build_server_verifier(x509.IPAddress(ipaddress.ip_address("192.168.7.20"))).verify(leaf, [])
    with pytest.raises(VerificationError):
        policy.build_server_verifier(x509.DNSName("bank.example")).verify(leaf, [])
    lasts = leaf.not_valid_after_utc - leaf.not_valid_before_utc
    assert lasts <= dt.timedelta(days=398)  # CA/Browser Forum baseline requirements, 6.3.2 (from memory)
    limits = root.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert limits.value.permitted_subtrees


def test_kept_until_it_is_nearly_over_or_for_other_names(tmp_path: Path) -> None:
    first, root = chain(tmp_path)
    assert chain(tmp_path) == (first, root)
    files = certificates(tmp_path, ("10.0.0.4",))
    other = x509.load_pem_x509_certificates(files.certificate.read_bytes())
    assert other[0] != first
    assert other[1] == root  # phones that trust it go on doing so
    assert (files.key.stat().st_mode & 0o077) == 0
    files.certificate.write_text("no certificate")
    assert chain(tmp_path)[1] == root


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    pages = Served(tmp_path_factory.mktemp("jobs"), "--tls")
    yield pages
    pages.stop()


@needs_browser
def test_reloaded_without_the_laptop_and_nothing_lost(kept: Served) -> None:
    from playwright.sync_api import sync_playwright

    leaf = x509.load_pem_x509_certificates((kept.home / "tls" / "server.crt").read_bytes())[0]
    spki = leaf.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    trusted = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    with sync_playwright() as p:
        browser = launched(p, f"--ignore-certificate-errors-spki-list={trusted}")
        page: Any = device(browser, 360, True)
        begin(page, kept.address, "away-1")
        page.wait_for_selector("html[data-kept]")
        own(page, "PUMP in running does not work")
        said(page, "PUMP in running does not work")
        kept.stop()
        page.reload()
        page.wait_for_selector("#link-state:not([hidden])")
        assert "no connection" in page.inner_text("#link-state")
        assert page.locator("details.test").count() > 0  # the tests are on it
        own(page, "K1 in running clicks")
        page.wait_for_selector("#waiting li")
        page.reload()
        page.wait_for_selector("#waiting li")  # still kept after another reload
        kept.start()
        said(page, "K1 in running clicks")
        told = page.evaluate("fetch('/api/jobs/away-1').then(r => r.json())")
        assert [r["line"] for r in told["readings"]] == [
            "PUMP in running does not work",
            "K1 in running clicks",
        ]
        assert page.wrong == []
        browser.close()
