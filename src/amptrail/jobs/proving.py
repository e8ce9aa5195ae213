"""`prove`: the independent checker at work."""

from __future__ import annotations

from amptrail.checker import check
from amptrail.jobs.base.context import Json, answer, load


def prove(proof_text: str, sheet_text: str) -> Json:
    """Check a proof against a sheet (docs/json.md, prove). Exit status 1 when it is no proof of this feed on
    this sheet; InputError when it cannot be read."""
    sheet = load(sheet_text)
    got = check(proof_text, sheet_text)
    told = {"valid": got.valid, "step": got.step, "reason": got.reason}
    return answer("prove", sheet, told, exit_status=0 if got.valid else 1)
