"""Wire tables against laws and tables from outside; each test names its source."""

from __future__ import annotations

import math

import pytest

from amptrail.errors import InputError
from amptrail.reference.rows import rows
from amptrail.reference.wire import (
    CMIL_MM2,
    RHO_OHM_MM2_PER_M,
    ampacity_a,
    awg_wires,
    copper_factor,
    metric,
    metric_wires,
    temperature_c,
)


def awg(size: str) -> object:
    return next(w for w in awg_wires() if w.name == f"{size} AWG")


def test_metric_maxima_lie_above_bare_copper_by_a_stranding_excess() -> None:
    """IEC 60028: rho/A is a floor; the standard's maximum is 5 to 11 % above (computed for every size)."""
    for w in metric_wires():
        excess = w.ohm_per_m / (RHO_OHM_MM2_PER_M / w.nominal_mm2) - 1
        assert 0.05 < excess < 0.115, w.name


@pytest.mark.parametrize(
    ("area", "class5_mohm"),
    [(0.5, 39.0), (0.75, 26.0), (1, 19.5), (1.5, 13.3), (2.5, 7.98), (4, 4.95), (6, 3.3), (10, 1.91),
     (16, 1.21), (25, 0.78), (35, 0.554), (50, 0.386)],
)  # fmt: skip
def test_metric_maxima_against_class_5_conductors(area: float, class5_mohm: float) -> None:
    """IEC 60228 class 5, 20 C (seen): the vehicle limit is lower by 4 to 6 %."""
    assert class5_mohm / (metric(area).ohm_per_m * 1000) == pytest.approx(1.05, abs=0.0125)


def test_awg_areas_follow_the_diameter_law() -> None:
    """ASTM B258: d = 0.127 mm x 92^((36 - n)/39)."""
    for r in rows("wire_awg"):
        d = 0.127 * 92 ** ((36 - int(r["number"])) / 39)
        assert math.pi / 4 * d**2 == pytest.approx(float(r["solid_mm2"]), rel=1e-3)


def test_sae_minimum_area_and_its_resistance_agree() -> None:
    """SAE J1128 minimum circular mils (seen) against the listed ohms, IEC 60028 copper."""
    listed = [r for r in rows("wire_awg") if r["min_cmil"]]
    assert len(listed) == 14
    for r in listed:
        area = float(r["min_cmil"]) * CMIL_MM2
        assert RHO_OHM_MM2_PER_M / area * 1000 == pytest.approx(float(r["mohm_per_m_20c"]), rel=1e-3)
        assert 0.88 < area / float(r["solid_mm2"]) < 0.98


@pytest.mark.parametrize(
    ("celsius", "factor"), [(-40, 0.764), (20, 1.0), (50, 1.118), (85, 1.255), (105, 1.334)]
)
def test_copper_by_temperature(celsius: float, factor: float) -> None:
    """IEC 60028: 0.00393/K from 20 C (computed)."""
    assert copper_factor(celsius) == pytest.approx(factor, abs=6e-4)


@pytest.mark.parametrize(
    ("size", "insulation", "amps"),
    [("18", 60, 10), ("16", 105, 25), ("14", 105, 35), ("12", 75, 25), ("10", 90, 55), ("4", 125, 170),
     ("2", 105, 210), ("1/0", 80, 245), ("4/0", 200, 510)],
)  # fmt: skip
def test_ampacity_rows(size: str, insulation: int, amps: float) -> None:
    """33 CFR 183.425 Table 5, 30 C (seen)."""
    assert ampacity_a(awg(size), 30.0, insulation) == pytest.approx(amps, rel=1e-9)  # type: ignore[arg-type]


@pytest.mark.parametrize(("size", "amps"), [("18", 17), ("14", 30), ("10", 51), ("4", 136), ("4/0", 378)])
def test_ampacity_in_an_engine_space(size: str, amps: float) -> None:
    """33 CFR 183.425, 105 C wire at 50 C: x 0.85 (seen); the square root of the margin gives 0.856."""
    assert ampacity_a(awg(size), 50.0, 105) == pytest.approx(amps, rel=0.02)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("area", "amps"), [(1, 21.2), (1.5, 25.7), (2.5, 36.7), (4, 47.9), (10, 89.2), (25, 168), (50, 261)]
)
def test_metric_ampacity_lies_between_the_gauges(area: float, amps: float) -> None:
    """33 CFR 183.425 interpolated on copper area, worked out independently for the same sizes (computed)."""
    assert ampacity_a(metric(area), 30.0, 105) == pytest.approx(amps, rel=0.04)


def test_more_copper_carries_more_and_heat_carries_less() -> None:
    for wires in (metric_wires(), awg_wires()):
        carried = [ampacity_a(w, 40.0) for w in wires]
        assert carried == sorted(carried) and len(set(carried)) == len(carried)
    assert ampacity_a(metric(1), 105.0) == 0.0
    assert ampacity_a(metric(1), 85.0) < ampacity_a(metric(1), 30.0)


def test_wire_reaches_its_limit_at_ampacity() -> None:
    """By definition of ampacity: at 30 C the copper is as hot as the insulation may be."""
    w = metric(2.5)
    assert temperature_c(w, ampacity_a(w, 30.0), 30.0) == pytest.approx(105.0)
    assert temperature_c(w, ampacity_a(w, 60.0), 60.0) == pytest.approx(105.0)
    assert temperature_c(w, 0.0, 40.0) == 40.0


@pytest.mark.parametrize(("drop", "gauge"), [(0.03, "10"), (0.10, "16")])
def test_marine_drop_formula(drop: float, gauge: str) -> None:
    """ABYC E-11 text: CM = 10.75 I L / E; 10 A over 21 ft takes 10 AWG at 3 %, 16 AWG at 10 % (seen)."""
    cmil = 10.75 * 10 * 21 / (12 * drop)
    fits = [r["awg"] for r in rows("wire_awg") if r["min_cmil"] and float(r["min_cmil"]) >= cmil]
    assert fits[0] == gauge


def test_unknown_sizes_are_clear_errors() -> None:
    with pytest.raises(InputError, match="no metric wire size"):
        metric(1.7)
    with pytest.raises(InputError, match="insulation"):
        ampacity_a(metric(1), 30.0, 70)
