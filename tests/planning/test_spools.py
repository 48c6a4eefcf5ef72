"""Cost of filament, spools on the scale, and whether one lasts."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calibration import Corrected, FinishedRun, Interval, calibrate
from planning.spools import Lasts, Weighed, cost, cost_shares, rounded, weighed, will_last


@pytest.mark.parametrize(
    ("grams", "price", "amount"),
    [
        (1000, "24.90", "24.90"),
        (6.7316, "20", "0.13"),
        (0, "20", "0.00"),
        (12.5, "0.4", "0.01"),
        (250, "19.98", "5.00"),
    ],
)
def test_cost_by_weight(grams: float, price: str, amount: str) -> None:
    # 6.7316 g is the tube of check value `tube` in PLA: 13.5 hundredths at 20 a kilogram
    assert rounded(cost(grams, Decimal(price))) == Decimal(amount)


@given(
    st.dictionaries(st.text(max_size=3), st.floats(0, 5000), max_size=12),
    st.decimals(0, 200, places=2),
)
def test_shares_add_up_to_the_whole(grams: dict[str, float], price: Decimal) -> None:
    shares = cost_shares(grams, price)
    assert sum(shares.values(), Decimal(0)) == rounded(sum((cost(g, price) for g in grams.values()), Decimal(0)))
    for key, amount in shares.items():
        assert abs(amount - cost(grams[key], price)) < Decimal("0.0101")


def test_three_equal_teams_share_ten_cents() -> None:
    # 3 x 1/3 of 0.10: one of them pays 0.04
    assert sorted(cost_shares({"a": 10 / 3, "b": 10 / 3, "c": 10 / 3}, Decimal(10)).values()) == [
        Decimal("0.03"),
        Decimal("0.03"),
        Decimal("0.04"),
    ]


@pytest.mark.parametrize(("grams", "price"), [(-1, "20"), (math.nan, "20"), (1, "-1"), (1, "NaN")])
def test_what_cannot_be_has_no_price(grams: float, price: str) -> None:
    with pytest.raises(ValueError):
        cost(grams, Decimal(price))


@pytest.mark.parametrize(
    ("scale_g", "tare_g", "full_g", "grams", "remark"),
    [
        (612, 220, 750, 392, ""),
        (220, 220, 750, 0, ""),
        (180, 220, 750, 0, "less than the empty spool"),
        (1300, 220, 750, 1080, "more than a new spool"),
        (500, 20, None, 480, "usually weighs"),
    ],
)
def test_weighing_a_spool(scale_g: float, tare_g: float, full_g: float | None, grams: float, remark: str) -> None:
    found = weighed(scale_g, tare_g, full_g=full_g)
    assert found.grams == grams
    assert found.low_g <= grams <= found.high_g
    assert remark in found.remark
    assert (found.remark == "") == (remark == "")


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_weights_that_cannot_be(bad: float) -> None:
    with pytest.raises(ValueError):
        weighed(bad, 200)


def plate(mean: float, half: float) -> Corrected:
    return Corrected(mean, Interval(mean - half / 2, mean + half / 2), Interval(mean - half, mean + half))


@pytest.mark.parametrize(
    ("left_g", "mean_g", "half_g", "lasts", "word"),
    [
        (300, 100, 10, Lasts.YES, "195 g to spare"),
        (110, 100, 10, Lasts.PROBABLY, "close"),
        (100, 100, 10, Lasts.NO, "5 g are missing"),
        (0, 50, 5, Lasts.NO, "55 g are missing"),
    ],
)
def test_will_it_last(left_g: float, mean_g: float, half_g: float, lasts: Lasts, word: str) -> None:
    found = will_last(Weighed(left_g, left_g - 5, left_g + 5), plate(mean_g, half_g))
    assert found.lasts is lasts
    assert word in found.sentence


def test_without_any_spread_a_gram_decides() -> None:
    exact = plate(50, 0)
    assert will_last(Weighed(55, 55, 55), exact).lasts is Lasts.YES
    assert will_last(Weighed(54, 54, 54), exact).lasts is Lasts.NO


def test_the_chance_is_that_of_the_draws() -> None:
    # the same question asked 40,000 times of a random spool and a random run
    rng = np.random.default_rng(4)
    spool, run = Weighed(150, 142, 158), plate(138, 9)
    draws = rng.normal(150, 4, 40_000) - 5 > rng.normal(138, 9 / 1.645, 40_000)
    assert will_last(spool, run).chance == pytest.approx(draws.mean(), abs=0.01)


def test_a_printer_that_uses_more_than_estimated_empties_a_spool_sooner() -> None:
    spool = weighed(220 + 120, 220)
    new, hungry = calibrate([]), calibrate([FinishedRun(3600, 3600, 50, 60)] * 20)
    assert will_last(spool, new.grams(100)).lasts is not Lasts.NO
    assert will_last(spool, hungry.grams(100)).lasts is Lasts.NO
