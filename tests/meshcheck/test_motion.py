"""The motion planner against closed forms and an integrator that knows nothing of trapezoids."""

import math
import time

import numpy as np
import pytest

from meshcheck.motion import move_seconds, straight_seconds

FloatArray = np.ndarray


@pytest.mark.parametrize(
    ("distance_mm", "speed", "acceleration", "seconds"),
    [
        # check values `trap`: d/v + v/a when d >= v^2/a, else 2 sqrt(d/a)
        (100, 50, 500, 2.1),
        (2, 50, 500, 0.126491),
        (5, 50, 500, 0.2),
        (0.3, 150, 1500, 2 * math.sqrt(0.3 / 1500)),
    ],
)
def test_one_move_is_a_trapezoid(distance_mm: float, speed: float, acceleration: float, seconds: float) -> None:
    planned = move_seconds([[0, 0], [distance_mm, 0]], [speed], acceleration, 0.013)
    assert planned.sum() == pytest.approx(seconds, abs=1e-6)
    assert straight_seconds(distance_mm, speed, acceleration) == pytest.approx(seconds, abs=1e-6)


def test_a_straight_line_in_pieces_takes_as_long_as_in_one() -> None:
    points = np.stack([np.linspace(0, 100, 1001), np.zeros(1001)], axis=1)
    assert move_seconds(points, np.full(1000, 50.0), 500, 0.013).sum() == pytest.approx(2.1, abs=1e-9)


def test_a_full_turn_back_is_a_stop() -> None:
    there_and_back = move_seconds([[0, 0], [100, 0], [0, 0]], [50, 50], 500, 0.013)
    assert there_and_back == pytest.approx([2.1, 2.1], abs=1e-9)


def test_a_rest_is_a_stop() -> None:
    points = [[0, 0], [100, 0], [200, 0]]
    assert move_seconds(points, [50, 50], 500, 0.013).sum() == pytest.approx(200 / 50 + 50 / 500)
    stopped = move_seconds(points, [50, 50], 500, 0.013, rest=[False, True, False])
    assert stopped == pytest.approx([2.1, 2.1])


def test_a_rest_at_a_move_of_no_length_is_a_stop() -> None:
    points = [[0, 0], [100, 0], [100, 0], [200, 0]]
    for rest in ([0, 1, 0, 0], [0, 0, 1, 0]):
        assert move_seconds(points, [50, 50, 50], 500, 0.013, rest).sum() == pytest.approx(4.2)
    assert move_seconds(points, [50, 50, 50], 500, 0.013).sum() == pytest.approx(4.1)


def test_a_right_angle_is_taken_at_the_speed_of_its_circle() -> None:
    # s = sin 45 deg, r = 0.013 s/(1 - s); each leg: from rest to 50 mm/s, cruise, down to sqrt(a r)
    s = math.sqrt(0.5)
    corner = math.sqrt(500 * 0.013 * s / (1 - s))
    up, down = 50**2 / 1000, (50**2 - corner**2) / 1000
    leg = 50 / 500 + (50 - corner) / 500 + (100 - up - down) / 50
    planned = move_seconds([[0, 0, 7], [100, 0, 7], [100, 100, 7]], [50, 50], 500, 0.013)
    assert planned == pytest.approx([leg, leg], rel=1e-12)


def _integrate(points: FloatArray, speed: FloatArray, acceleration: float, deviation: float, rest: FloatArray) -> float:
    """Seconds by the phase plane: the square of the speed on a fine grid of the way, limited, swept both ways."""
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1)
    cells = 4000
    limit = [np.full(cells, v * v) for v in speed]
    square = np.concatenate([np.concatenate(limit), [0.0]])
    square[0] = 0.0
    for i in range(1, len(speed)):
        a, b = -step[i - 1] / length[i - 1], step[i] / length[i]
        half = math.acos(max(-1.0, min(1.0, float(a @ b)))) / 2  # half the angle between the legs
        radius = deviation * math.sin(half) / (1 - math.sin(half)) if math.sin(half) < 1 else math.inf
        square[i * cells] = min(speed[i - 1] ** 2, speed[i] ** 2, acceleration * radius, 0.0 if rest[i] else math.inf)
    way = np.repeat(length / cells, cells)
    gained = 2 * acceleration * way
    for j in range(len(way)):
        square[j + 1] = min(square[j + 1], square[j] + gained[j])
    for j in range(len(way) - 1, -1, -1):
        square[j] = min(square[j], square[j + 1] + gained[j])
    velocity = np.sqrt(square)
    return float(np.sum(2 * way / (velocity[1:] + velocity[:-1])))


@pytest.mark.parametrize("seed", range(16))
def test_random_paths_agree_with_the_integrator(seed: int) -> None:
    rng = np.random.default_rng(seed)
    moves = int(rng.integers(2, 16))
    size = rng.choice([0.2, 3.0, 20.0])
    points = np.cumsum(rng.normal(size=(moves + 1, 3)) * size, axis=0)
    speed = rng.uniform(10, 200, moves)
    acceleration = float(rng.choice([500.0, 1000.0, 3000.0]))
    rest = rng.random(moves + 1) < 0.15
    planned = move_seconds(points, speed, acceleration, 0.013, rest).sum()
    assert planned == pytest.approx(_integrate(points, speed, acceleration, 0.013, rest), rel=1e-5)


def test_a_fine_circle_is_not_a_stop_at_every_corner() -> None:
    turn = np.linspace(0, 2 * np.pi, 721)
    circle = 20 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    planned = move_seconds(circle, np.full(720, 60.0), 1000, 0.013).sum()
    # 60 mm/s all round: the way of the 720-gon at speed, plus one rise and one fall v/a
    assert planned == pytest.approx(720 * 40 * math.sin(math.pi / 720) / 60 + 60 / 1000, rel=1e-9)


@pytest.mark.parametrize(
    ("points", "speed", "acceleration", "rest"),
    [
        ([[0, 0]], [50], 500, None),
        ([[0, 0], [1, 0]], [0], 500, None),
        ([[0, 0], [1, 0]], [50], 0, None),
        ([[0, 0], [1, 0]], [50], 500, [True]),
    ],
)
def test_what_does_not_fit_together_is_refused(points: list, speed: list, acceleration: float, rest: list) -> None:
    with pytest.raises(ValueError):
        move_seconds(points, speed, acceleration, 0.013, rest)


def test_no_moves_take_no_time() -> None:
    assert move_seconds([[1, 2]], [], 500, 0.013).size == 0


@pytest.mark.bench
def test_speed_of_a_million_moves() -> None:
    turn = np.arange(1_000_001) * 0.01
    points = np.stack([20 * np.cos(turn), 20 * np.sin(turn)], axis=1)
    speed = np.full(1_000_000, 60.0)
    move_seconds(points[:3], speed[:2], 1000, 0.013)
    started = time.perf_counter()
    planned = move_seconds(points, speed, 1000, 0.013)
    print(f"\n1,000,000 moves planned in {(time.perf_counter() - started) * 1e3:.0f} ms")
    assert planned.sum() == pytest.approx(1_000_000 * 40 * math.sin(0.005) / 60 + 0.06, rel=1e-6)
