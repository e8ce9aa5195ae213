"""Words of the trade: terminals, wire colours, trouble codes."""

from __future__ import annotations

import re
from functools import cache

from amptrail.errors import nearest, one
from amptrail.reference.rows import rows


@cache
def terminals() -> dict[str, str]:
    """DIN 72552 terminal -> meaning."""
    return {r["terminal"]: r["meaning"] for r in rows("terminals")}


@cache
def colours() -> dict[str, str]:
    """IEC 60757 code -> colour, single codes only and GNYE."""
    return {r["code"]: r["colour"] for r in rows("colours")}


def colour_words(code: str) -> str:
    """`RDBU` as `red-blue`, `BK/WH` as `black with white stripe` (base/stripe: vehicle practice)."""
    base, slash, stripe = code.upper().partition("/")
    if slash:
        return f"{colour_words(base)} with {colour_words(stripe)} stripe"
    if base in colours():
        return colours()[base]
    bits = [base[i : i + 2] for i in range(0, len(base), 2)]
    if not base or any(b not in colours() for b in bits):
        raise one(
            "colour",
            f"{code!r} is no IEC 60757 colour",
            expected=tuple(colours()),
            nearest=nearest(code, list(colours())),
        )
    return "-".join(colours()[b] for b in bits)


def dtc_bytes(code: str) -> int:
    """The two bytes of a trouble code: letter in the top two bits (SAE J2012; bits from memory)."""
    if not re.fullmatch(r"[PCBU][0-3][0-9A-F]{3}", code.upper()):
        raise one("dtc", f"{code!r} is not a trouble code such as P0230")
    return "PCBU".index(code[0].upper()) << 14 | int(code[1]) << 12 | int(code[2:], 16)


def dtc_title(code: str) -> str | None:
    """Title of a known code, None for one not in the table; InputError for a malformed one."""
    dtc_bytes(code)
    return {r["code"]: r["title"] for r in rows("dtc")}.get(code.upper())
