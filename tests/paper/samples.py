"""An invented job as facts, for the tests of the papers."""

from __future__ import annotations

from amptrail.paper.facts import CaseFacts, Check, Fitted, Found, Reading, Slice

HOLDS = Fitted(
    "J1",
    "added relay with its own 15 A feed, switched by the ignition fuse",
    "BAT.+",
    "PUMP.in",
    "holds",
    "works in every phase and stops with the key",
    15,
    "battery holder",
    "2.5 mm2, 3 m",
    ("relay", "fuse 15 A"),
    ("W4",),
    35,
    ("F4 stays whole",),
    ("the lamp in the switch",),
    ("the pump runs on for 15 s after the key",),
    "pull fuse J1",
    0.012,
    "2026-12-24 or 500 km",
    ("pull the fuse J1", "join W4 again"),
    "the shop",
    True,
)
REFUSED = Fitted(
    "J2",
    "feed from the pump relay's own output",
    "K4.87",
    "K4.86",
    "refused",
    "works while you stand there; after a night the controller is never woken",
    asked_by="the shop",
)
JOB = CaseFacts(
    job="gate-17",
    date="2026-11-25",
    vehicle="Orchard sprayer, 12 V diesel",
    by="A. Sample",
    complaint="The lift pump reads 12 V and will not run; pump and relay replaced in vain.",
    found=(
        Found(
            "G2 resistance",
            "about 6.7 ohm (3.5 to 17)",
            "clean the metal, renew G2",
            21,
            0.6,
            ("G2.1 resistance",),
        ),
        Found("X7.5 resistance", "", "renew the terminals of X7", 21, 0.3, (), "G2.1 in ignition-on meter"),
    ),
    proven=True,
    readings=(Reading("shop says BAT.+ in ignition-on meter 12.5 V", ("X7.5 open", "G2 open")),),
    cause="Water from the overflow stood on the joint.",
    done=("cleaned and greased G2",),
    left=("the hose still drips",),
    neighbours=("X7 shares the place",),
    vain=("PUMP", "K4"),
    acceptance=("0.15 V or less from PUMP.out to BAT.-",),
    feeds=(HOLDS, REFUSED),
    expected_min=25,
    p80_min=60,
    bound_min=12,
    slices=(Slice(30, "ground or feed"),),
    rate_per_hour=95,
    currency="EUR",
    battery_ah=74,
    drawing='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10"><rect width="20" height="8"/></svg>',
    checks=(
        Check("feed under load while it fails", True, "PUMP.in loaded 12.1 V"),
        Check("output wire not shorted", None),
    ),
)
