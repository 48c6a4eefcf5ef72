"""The rotor by limits of theory: Glauert's rotors with wake rotation, Betz, and a trend that always holds."""

from __future__ import annotations

import math

import pytest

from lessons.science.turbine import (
    BETZ,
    Generator,
    Rotor,
    best_pitch_deg,
    expected_volts,
    flat_plate,
    plain_rotor,
    power_share,
    pull_on_blade_n,
    steady_turning,
    torque_nm,
)
from lessons.science.values import Unknown


def best_rotor(speed_ratio: float) -> Rotor:
    """Blades without drag, of the best chord and twist for one tip speed ratio: phi = 2/3 atan(1 / lambda_r),
    c = 8 pi r (1 - cos phi) / (B C_l), lift coefficient 1 at 5 degrees."""

    def phi(r: float) -> float:
        return 2 / 3 * math.atan(1 / (speed_ratio * r))

    attack = math.radians(5)

    def section(alpha: float) -> tuple[float, float]:
        return 1 + 2 * math.pi * (alpha - attack), 0.0

    return Rotor(
        3, 0.02, 1.0, lambda r: 8 * math.pi * r / 3 * (1 - math.cos(phi(r))), lambda r: phi(r) - attack, section
    )


@pytest.mark.parametrize(("speed_ratio", "share"), [(1.0, 0.416), (2.0, 0.512), (5.0, 0.570), (10.0, 0.585)])
def test_the_best_rotor_takes_what_glauert_says(speed_ratio: float, share: float) -> None:
    """Power coefficient of the ideal rotor with wake rotation: table in Manwell, McGowan and Rogers, Wind Energy
    Explained, chapter 3 (from memory)."""
    assert power_share(best_rotor(speed_ratio), speed_ratio) == pytest.approx(share, abs=2e-3)


@pytest.mark.parametrize("pitch_deg", [2.0, 10.0, 25.0, 45.0, 80.0])
def test_no_rotor_passes_the_limit_of_betz(pitch_deg: float) -> None:
    """16/27 of the wind's power (Betz 1919, closed form)."""
    assert pytest.approx(0.5926, abs=1e-4) == BETZ
    assert max(power_share(plain_rotor(pitch_deg), ratio / 2) for ratio in range(1, 16)) < BETZ
    assert power_share(best_rotor(50.0), 50.0) < BETZ


def test_a_plate_square_on_has_drag_alone_and_a_plate_along_has_skin_friction() -> None:
    section = flat_plate(3.0)
    assert section(math.pi / 2)[0] == pytest.approx(-0.03)
    assert section(math.pi / 2)[1] == pytest.approx(1.17)
    assert section(0.0) == (0.0, 0.03)
    assert section(-0.1)[0] == pytest.approx(-section(0.1)[0])


def test_blades_flat_to_the_wind_or_edge_on_do_not_turn() -> None:
    assert torque_nm(plain_rotor(0), 3.5, 0.0) < 1e-6
    assert torque_nm(plain_rotor(90), 3.5, 0.0) < 2e-5
    assert torque_nm(plain_rotor(30), 3.5, 0.0) > 3e-4
    assert isinstance(steady_turning(plain_rotor(0), Generator(), 3.5), Unknown)


@pytest.mark.parametrize("wind_m_s", [2.5, 5.0])
@pytest.mark.parametrize("friction_nm", [3e-5, 2.5e-4])
def test_the_trend_holds_whatever_wind_and_friction(wind_m_s: float, friction_nm: float) -> None:
    """What the lesson says is predictable: fewer volts beyond the best pitch, step by step."""
    volts = [expected_volts(pitch, Generator(friction_nm=friction_nm), wind_m_s) for pitch in (15, 20, 30, 40)]
    assert volts == sorted(volts, reverse=True)
    assert volts[-1] < 0.6 * volts[0]


@pytest.mark.parametrize(("wind_m_s", "friction_nm"), [(2.5, 2.5e-4), (5.0, 3e-5)])
def test_the_best_pitch_lies_at_small_angles(wind_m_s: float, friction_nm: float) -> None:
    assert 7 <= best_pitch_deg(Generator(friction_nm=friction_nm), wind_m_s) <= 13


def test_the_settled_rotor_balances_air_and_generator() -> None:
    rotor, generator = plain_rotor(20), Generator()
    turning = steady_turning(rotor, generator, 3.5)
    assert isinstance(turning, float)
    assert torque_nm(rotor, 3.5, turning) == pytest.approx(generator.torque_nm(turning), rel=1e-6)
    assert generator.volts(turning) == pytest.approx(0.003 * turning * 47 / 52)


def test_pull_on_a_blade_by_hand() -> None:
    """5 g at 60 mm and 100 rad/s: 0.005 x 0.06 x 10 000 = 3 N."""
    assert pull_on_blade_n(0.005, 0.06, 100.0) == pytest.approx(3.0)
