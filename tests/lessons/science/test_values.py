"""Uncertainty carried through formulas, and Student's t, against closed forms and published tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessons.science.values import (
    Interval,
    Measured,
    Unknown,
    effective_df,
    exactly,
    from_resolution,
    known,
    propagated,
    t_factor,
)

# FACTS 4; df 1-4 agree with the table of the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2.
DF_95 = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 19, 20, 24, 29, 30, 60, 120, math.inf)
T_95 = "12.706 4.303 3.182 2.776 2.571 2.447 2.365 2.306 2.262 2.228 2.201 2.179 2.131 2.093 2.086 2.064 2.045 2.042"
T_TABLE = {
    0.95: dict(zip(DF_95, map(float, f"{T_95} 2.000 1.980 1.960".split()), strict=True)),
    0.90: {4: 2.132, 9: 1.833},
    0.99: {4: 4.604, 9: 3.250},
}


@pytest.mark.parametrize(
    ("confidence", "df", "factor"), [(c, df, t) for c, row in T_TABLE.items() for df, t in row.items()]
)
def test_t_table(confidence: float, df: float, factor: float) -> None:
    assert t_factor(df, confidence) == pytest.approx(factor, abs=5.1e-4)


def test_t_with_one_and_two_degrees_of_freedom_has_a_closed_form() -> None:
    """Cauchy quantile tan(pi c / 2) for df 1; for df 2 c sqrt(2 / (1 - c^2))."""
    for c in (0.5, 0.8, 0.95, 0.99):
        assert t_factor(1, c) == pytest.approx(math.tan(math.pi * c / 2), rel=1e-10)
        assert t_factor(2, c) == pytest.approx(c * math.sqrt(2 / (1 - c * c)), rel=1e-10)


@pytest.mark.parametrize(("df", "confidence"), [(0, 0.95), (-1, 0.95), (3, 0), (3, 1), (3, 95)])
def test_t_refuses_nonsense(df: float, confidence: float) -> None:
    with pytest.raises(ValueError):
        t_factor(df, confidence)


def test_acceleration_from_length_and_time() -> None:
    """FACTS 7, row prop: computed with the uncertainties library; 7.44 %."""
    found = propagated(lambda length, time: 2 * length / time**2, [Measured(1.500, 0.002), Measured(1.21, 0.045)])
    assert found.value == pytest.approx(2.04904, abs=5e-6)
    assert found.uncertainty == pytest.approx(0.15243, abs=5e-6)
    assert known(found.relative) == pytest.approx(0.0744, abs=5e-5)
    # closed form hypot(u(L) / L, 2 u(t) / t), FACTS 4
    assert known(found.relative) == pytest.approx(math.hypot(0.002 / 1.5, 2 * 0.045 / 1.21), rel=1e-6)


def test_sum_product_and_power_follow_the_rules_of_tn_1297() -> None:
    """NIST TN 1297 appendix A.2: sums add uncertainties in quadrature, products and powers add relative ones."""
    a, b = Measured(5.0, 0.3), Measured(-2.0, 0.4)
    assert propagated(lambda x, y: x + y, [a, b]).uncertainty == pytest.approx(0.5, rel=1e-7)
    product = propagated(lambda x, y: x * y, [a, b])
    assert product.uncertainty == pytest.approx(10 * math.hypot(0.06, 0.2), rel=1e-7)
    assert propagated(lambda x: x**3, [a]).uncertainty == pytest.approx(3 * 25 * 0.3, rel=1e-6)


def test_welch_satterthwaite_for_two_equal_parts_adds_their_degrees_of_freedom() -> None:
    assert effective_df([(1.0, 4), (1.0, 4)]) == pytest.approx(8)
    assert effective_df([(3.0, 5), (4.0, math.inf)]) == pytest.approx(5 * (25 / 9) ** 2)
    assert effective_df([]) == math.inf
    assert propagated(lambda x, y: x - y, [Measured(1, 0.1, 2), Measured(2, 0.1, 2)]).df == pytest.approx(4)


def test_a_step_of_an_instrument_is_a_rectangle() -> None:
    """NIST TN 1297 section 4.6: half width a gives a / sqrt(3)."""
    assert from_resolution(2.71, 0.01).uncertainty == pytest.approx(0.005 / math.sqrt(3))


def test_exact_inputs_give_an_exact_result() -> None:
    found = propagated(lambda x, y: x / y, [exactly(3.0), exactly(4.0)])
    assert found == Measured(0.75, 0.0, math.inf)
    assert found.interval() == Interval(0.75, 0.75, 0.95)


def test_share_of_zero_is_unknown_and_nonsense_is_refused() -> None:
    assert isinstance(Measured(0.0, 1.0).relative, Unknown)
    for value, uncertainty, df in ((math.nan, 1, 1), (1, -1, 1), (1, math.inf, 1), (1, 1, 0)):
        with pytest.raises(ValueError):
            Measured(value, uncertainty, df)


@given(
    st.floats(-100, 100),
    st.floats(0.1, 100),
    st.floats(1e-4, 10),
    st.floats(1e-4, 10),
)
def test_linear_formulas_are_carried_exactly(x: float, y: float, u: float, v: float) -> None:
    found = propagated(lambda a, b: 3 * a - 0.5 * b + 7, [Measured(x, u), Measured(y, v)])
    assert found.uncertainty == pytest.approx(math.hypot(3 * u, 0.5 * v), rel=1e-6)


@given(st.floats(0.5, 0.999), st.floats(1, 200))
def test_intervals_widen_with_confidence_and_narrow_with_degrees_of_freedom(confidence: float, df: float) -> None:
    assert t_factor(df, confidence) >= t_factor(df + 1, confidence) * (1 - 1e-12)
    assert t_factor(df, confidence) <= t_factor(df, min(0.9999, confidence + 0.0005))
