"""Proofs of feeds against the independent checker: issue 3's counts.

Every feed of the folder feeds/ that holds is accepted; 100 proofs with their keys in another order are
accepted; 1,000 altered ones, at least 100 of each kind, are rejected; a true account of every feed that does
not hold, told as if it held, is rejected. Run: python -m benchmarks.proofs [how many of each kind, 143]
"""

from __future__ import annotations

import json
import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "checker"))

from altered_proofs import (
    KINDS,
    Row,
    alter,
    proof_text,
    rows,
    sheet_text,
    shuffled,
    verdict,
)

from amptrail.checker import check
from amptrail.errors import InputError


def _accepted(r: Row) -> str | None:
    got = check(proof_text(r), sheet_text(r.sheet))
    return None if got.valid else f"{r.id} holds and its proof is rejected: {got.step}: {got.reason}"


def _forged(r: Row) -> str | None:
    """A feed that does not hold, told as if it did: a rule the judge found must reject it."""
    v = verdict(r)
    if v.verdict == "holds":
        return None
    try:
        got = check(proof_text(r, forged=True), sheet_text(r.sheet))
    except InputError as e:
        return f"{r.id}: its account cannot be written or read: {e}"
    if got.valid:
        return f"{r.id} is {v.verdict} and its forged proof is accepted"
    rules = {m.rule for m in (*v.broken, *v.doubtful)}
    said = got.reason.split()[0]
    return (
        None if said in rules else f"{r.id}: rejected for {said}, the judge says {sorted(rules)}: {got.step}"
    )


def _altered(rng: random.Random, r: Row, kinds: Counter[str], misses: list[str]) -> None:
    """One alteration of every kind."""
    proof = json.loads(proof_text(r))
    for kind in KINDS:
        altered, sheet = alter(kind, proof, sheet_text(r.sheet), rng)
        try:
            got = check(json.dumps(altered), sheet)
        except InputError:
            kinds[kind] += 1
            continue
        if got.valid:
            misses.append(f"{r.id}: {kind} accepted")
        else:
            kinds[kind] += 1


def main() -> int:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 143
    rng, began, misses = random.Random(3), time.monotonic(), list[str]()
    good = [r for r in rows() if r.verdict == "holds" and verdict(r).verdict == "holds"]
    kinds: Counter[str] = Counter()
    orders = 0
    for n, r in enumerate(good):
        misses += [m for m in [_accepted(r)] if m]
        proof = json.loads(proof_text(r))
        while orders < 100 * (n + 1) // len(good):
            orders += 1
            if not check(json.dumps(shuffled(proof, rng)), sheet_text(r.sheet)).valid:
                misses.append(f"{r.id}: rejected in another order of keys")
        share = many * (n + 1) // len(good)
        while min(kinds[k] for k in KINDS) < share and len(misses) < 50:
            _altered(rng, r, kinds, misses)
    forged = [r for r in rows() if r.verdict != "holds"]
    misses += [m for r in forged if (m := _forged(r))]
    told = ", ".join(f"{k} {n}" for k, n in kinds.items())
    print(f"{len(good)} proofs accepted, {orders} in another order of keys, {time.monotonic() - began:.0f} s")
    print(f"altered and rejected: {sum(kinds.values())} ({told}); {len(forged)} forged ones rejected")
    print("\n".join(misses) if misses else "no misses")
    return 1 if misses else 0


if __name__ == "__main__":
    raise SystemExit(main())
