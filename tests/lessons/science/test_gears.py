"""Gear geometry: worked examples and limits of handbooks, and a rack as the second opinion on undercut."""

from __future__ import annotations

import math

import pytest

from lessons.science.gears import (
    ALPHA,
    Mesh,
    SpurGear,
    angle_of_involute,
    fewest_teeth,
    involute,
    least_shift,
    shift_needed,
)

INCH = 25.4


@pytest.mark.parametrize(("degrees", "value"), [(14.5, 0.005545), (20.0, 0.014904), (25.0, 0.029975)])
def test_the_involute_function(degrees: float, value: float) -> None:
    """Tables of inv(alpha) in gear handbooks (from memory): 14.5, 20 and 25 degrees."""
    assert involute(math.radians(degrees)) == pytest.approx(value, abs=6e-7)
    assert math.degrees(angle_of_involute(involute(math.radians(degrees)))) == pytest.approx(degrees, abs=1e-9)


def test_a_pinion_of_16_and_a_gear_of_40_teeth() -> None:
    """Shigley, Mechanical Engineering Design, example 13-1 (from memory): diametral pitch 2, 20 degrees: circular pitch
    1.571 in, centre distance 14 in; mounted 1/4 in further apart: pressure angle 22.56 degrees, pinion 8.143 in."""
    pinion, gear = SpurGear(INCH / 2, 16, shift_needed(16)), SpurGear(INCH / 2, 40, -shift_needed(16))
    pair = Mesh(pinion, gear, INCH / 4)
    assert pair.close_mm / INCH == pytest.approx(14.0)
    assert pair.driving.base_pitch_mm / math.cos(ALPHA) / INCH == pytest.approx(1.571, abs=1e-3)
    assert math.degrees(pair.working_alpha) == pytest.approx(22.56, abs=0.06)
    assert pinion.base_mm / math.cos(pair.working_alpha) / INCH == pytest.approx(8.143, abs=1e-3)


def test_a_shifted_pair_of_12_and_24_teeth() -> None:
    """Worked example of gear makers' handbooks (from memory): m 3, z 12 and 24, x 0.6 and 0.36: working pressure angle
    26.0886 degrees, centre distance 56.4999, base circles 33.8289 and 67.6579 mm."""
    pair = Mesh(SpurGear(3.0, 12, 0.6), SpurGear(3.0, 24, 0.36))
    assert (pair.driving.base_mm, pair.driven.base_mm) == pytest.approx((33.8289, 67.6579), abs=1e-4)
    assert math.degrees(pair.working_alpha) == pytest.approx(26.0886, abs=1e-4)
    assert pair.distance_mm == pytest.approx(56.4999, abs=1e-4)


def test_the_contact_ratio_of_two_racks_is_the_largest() -> None:
    """Limit of many teeth, 4 / (pi sin 2 alpha) = 1.981 at 20 degrees (closed form)."""
    many = Mesh(SpurGear(1.0, 100_000), SpurGear(1.0, 100_000))
    assert many.contact_ratio == pytest.approx(4 / (math.pi * math.sin(2 * ALPHA)), abs=1e-3)
    few = Mesh(SpurGear(1.0, 18), SpurGear(1.0, 18))
    assert 1.4 < few.contact_ratio < many.contact_ratio


def test_the_contact_ratio_by_angles_of_the_tips() -> None:
    """Second form: (z1 (tan a1 - tan a) + z2 (tan a2 - tan a)) / 2 pi, with cos a_i = d_b / d_tip."""
    for one, two in ((20, 40), (24, 36), (30, 30)):
        pair = Mesh(SpurGear(1.5, one), SpurGear(1.5, two))
        total = sum(
            gear.teeth * (math.tan(math.acos(gear.base_mm / gear.tip_mm)) - math.tan(ALPHA))
            for gear in (pair.driving, pair.driven)
        )
        assert pair.contact_ratio == pytest.approx(total / (2 * math.pi), rel=1e-9)


def test_seventeen_teeth_are_the_least_without_undercut() -> None:
    """Handbooks: 17.1, in practice 17 (common; ISO 53 profile); with fewer, x = (17 - z) / 17 nearly."""
    assert fewest_teeth() == pytest.approx(17.097, abs=1e-3)
    assert shift_needed(18) == 0.0
    assert shift_needed(15) == pytest.approx((17 - 15) / 17, abs=0.006)
    assert least_shift(45) < -0.1
    with pytest.raises(ValueError, match="undercut"):
        SpurGear(1.5, 15)
    SpurGear(1.5, 15, shift_needed(15))


@pytest.mark.parametrize("teeth", [12, 15, 17, 18, 30])
def test_a_rack_cuts_into_the_involute_only_below_the_limit(teeth: int) -> None:
    """Independent of the formula: the rack's corner, one module below the pitch line, must not pass the point where the
    line of action leaves the base circle: r sin(alpha)^2 above it."""
    radius = teeth / 2
    corner_depth, start_of_involute = 1.0, radius - radius * math.cos(ALPHA) ** 2
    assert (corner_depth > start_of_involute + 1e-9) is (shift_needed(teeth) > 0)


def test_tooth_thickness() -> None:
    """Half the circular pitch at the pitch circle; pi m / 2 + 2 x m tan(alpha) when shifted; the involute of a circle
    through two points otherwise: s / d falls by the difference of the involutes."""
    plain, shifted = SpurGear(2.0, 30), SpurGear(2.0, 30, 0.3)
    assert plain.thickness_mm(plain.pitch_mm) == pytest.approx(math.pi)
    assert shifted.thickness_mm(60.0) == pytest.approx(math.pi + 2 * 0.3 * 2.0 * math.tan(ALPHA))
    tip = plain.thickness_mm(plain.tip_mm)
    assert 0.25 * 2.0 < tip < math.pi
    with pytest.raises(ValueError, match="base circle"):
        plain.thickness_mm(plain.base_mm - 0.1)


def test_backlash_is_thinning_and_spread() -> None:
    """2 a' tan(alpha) per mm of spread for small ones (handbooks), plus what was taken off the teeth."""
    pair = Mesh(SpurGear(1.5, 20, 0, 0.1), SpurGear(1.5, 40, 0, 0.1), 0.05)
    assert pair.backlash_mm == pytest.approx(0.2 + 2 * 0.05 * math.tan(ALPHA), rel=0.01)
    assert pair.clearance_mm == pytest.approx(0.25 * 1.5 + 0.05)


def test_gears_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="module"):
        SpurGear(0.0, 20)
    with pytest.raises(ValueError, match="pointed"):
        SpurGear(1.0, 10, 1.2)
    with pytest.raises(ValueError, match="mesh"):
        Mesh(SpurGear(1.0, 20), SpurGear(1.5, 20))
