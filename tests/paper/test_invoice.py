"""The invoice, against sums made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from samples import JOB

from amptrail.errors import InputError
from amptrail.paper.blocks import A4
from amptrail.paper.facts import Bill, CaseFacts, Spent, Used
from amptrail.paper.invoice import beyond_min, invoice, total
from amptrail.paper.plain import plain

WORKED = replace(
    JOB,
    rate_per_hour=95.0,
    currency="EUR",
    spent=(
        Spent("drive", 40, (), True),
        Spent("test", 48, (("console", 30), ("tank-well", 18))),
        Spent("wait", 20),
        Spent("repair", 25),
        Spent("ferry", 12, (), True),
    ),
    used=(Used("relay 12 V", 2, 9.95), Used("crimp eye", 1)),
    bill=Bill(vat=19.0),
)


def test_the_sum_by_hand() -> None:
    """95.00 an hour: 40 min 63.33, 48 min 76.00, 20 min 31.67, 25 min 39.58, 12 min 19.00, together 229.58;
    two relays 19.90; 249.48 net; 19 % of it 47.40; 296.88 to pay."""
    assert total(WORKED) == (249.48, 47.40, 296.88)
    text = plain(invoice(WORKED, A4))
    for words in (
        "63.33 EUR",
        "tests (console 30, tank-well 18)",
        "ferry",
        "price not told",
        "296.88 EUR",
        "Tax 19 %",
    ):
        assert words in text


def test_nothing_beyond_what_was_agreed() -> None:
    """60 min of looking agreed, 68 worked (48 tests and 20 waiting): the last 8 are told and not charged."""
    f = replace(WORKED, bill=Bill(agreed_min=60))
    assert beyond_min(f) == 8
    text = plain(invoice(f, A4))
    assert "8 min of looking for the cause beyond the 60 min agreed are not charged" in text
    assert total(f)[0] == 249.48 - 12.67  # 8 of the 20 min waiting: 12 min at 95 are 19.00 in place of 31.67
    assert beyond_min(replace(WORKED, bill=Bill(agreed_min=90))) == 0


def test_a_flat_price_needs_no_rate() -> None:
    f = replace(WORKED, rate_per_hour=None, bill=Bill(flat=180.0))
    assert total(f) == (199.90, 0.0, 199.90)
    assert "as agreed, flat" in plain(invoice(f, A4))


@pytest.mark.parametrize("f", [replace(JOB, rate_per_hour=None), CaseFacts("gate", "2026-11-25", "")])
def test_no_invoice_without_a_price(f: CaseFacts) -> None:
    with pytest.raises(InputError) as caught:
        invoice(f, A4)
    assert caught.value.problems[0].code == "no-rate"
