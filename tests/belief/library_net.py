"""Posteriors of discrete nets by pyAgrum (aGrUM), a general Bayesian library: JSON in, JSON out.

A process of its own: under pytest the library meets other compiled packages and dies at import.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import pyagrum as gum


def joint(c: dict[str, Any]) -> list[list[float]]:
    """P(fault, severity) of one circuit: `prior[f]`, `within[f][s]`, `misprobe`, `density[f][s][number]` with
    `wrong_density`, `bins[f][s][reading][bin]` and the bins `read`."""
    faults, severities, slip = len(c["prior"]), len(c["within"][0]), c["misprobe"]
    bn = gum.BayesNet("circuit")
    fault = bn.add(gum.LabelizedVariable("fault", "", faults))
    severity = bn.add(gum.LabelizedVariable("severity", "", severities))
    bn.addArc(fault, severity)
    bn.cpt(fault).fillWith(c["prior"])
    for f in range(faults):
        bn.cpt(severity)[{"fault": f}] = c["within"][f]
    evidence: dict[str, int] = {}
    numbers, binned = len(c["density"][0][0]), len(c["read"])
    for k in range(numbers + binned):
        wrong = bn.add(gum.LabelizedVariable(f"slip{k}", "", 2))
        bn.cpt(wrong).fillWith([1 - slip, slip])
        size = 2 if k < numbers else len(c["bins"][0][0][0])
        node = bn.add(gum.LabelizedVariable(f"read{k}", "", size))
        for parent in (fault, severity, wrong):
            bn.addArc(parent, node)
        for f in range(faults):
            for s in range(severities):
                here = {"fault": f, "severity": s}
                if k < numbers:  # a density as the chance of a yes: any constant that keeps it below one
                    right, off = c["density"][f][s][k] / 10, c["wrong_density"] / 10
                    bn.cpt(node)[{**here, f"slip{k}": 0}] = [1 - right, right]
                    bn.cpt(node)[{**here, f"slip{k}": 1}] = [1 - off, off]
                else:
                    bn.cpt(node)[{**here, f"slip{k}": 0}] = c["bins"][f][s][k - numbers]
                    bn.cpt(node)[{**here, f"slip{k}": 1}] = [1 / size] * size
        evidence[f"read{k}"] = 1 if k < numbers else int(c["read"][k - numbers])
    engine = gum.LazyPropagation(bn)
    engine.addJointTarget({"fault", "severity"})
    engine.setEvidence(evidence)
    engine.makeInference()
    found = engine.jointPosterior({"fault", "severity"})
    return [[float(found[{"fault": f, "severity": s}]) for s in range(severities)] for f in range(faults)]


if __name__ == "__main__":
    json.dump([joint(c) for c in json.load(sys.stdin)], sys.stdout)
