"""Lines of a layer against shapely: every line inside, every stretch drawn once, lengths as they must be."""

import math

import numpy as np
import pytest
import shapely

from meshcheck.layers.lines import draw_loops, hatch

SQUARE = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], float)
HOLE = np.array([[5, 5], [5, 12], [11, 14], [12, 5]], float)
STAR = np.array(
    [
        [40 + (9 if k % 2 else 4) * math.cos(k * math.pi / 9), 8 + (9 if k % 2 else 4) * math.sin(k * math.pi / 9)]
        for k in range(18)
    ]
)
SPACING = 0.43


def _lines(angle: float, spacing: float) -> shapely.MultiLineString:
    """The grid as it is promised: through the origin, shifted by half a spacing."""
    along, across = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    rows = (np.arange(-200, 200) + 0.5) * spacing
    return shapely.MultiLineString([[across * row - along * 200, across * row + along * 200] for row in rows])


@pytest.mark.parametrize("angle_deg", [0, 45, -45, 17])
def test_the_lines_are_the_grid_inside_the_shape(angle_deg: float) -> None:
    angle = math.radians(angle_deg)
    area = shapely.MultiPolygon([(SQUARE, [HOLE]), (STAR, [])])
    points, drawn = hatch([SQUARE, HOLE, STAR], angle, SPACING, (0.0, 0.0))
    # every second point ends a line of the grid, the others a way between lines
    scans = shapely.MultiLineString([points[i : i + 2] for i in range(0, len(points), 2)])
    assert drawn[1::2].all()
    expected = _lines(angle, SPACING).intersection(area)
    assert scans.length == pytest.approx(expected.length, rel=1e-9)
    assert scans.difference(area.buffer(1e-6)).length == 0
    assert shapely.union_all(list(scans.geoms)).length == pytest.approx(scans.length, rel=1e-9)


def test_neighbouring_lines_are_joined_to_and_fro() -> None:
    points, drawn = hatch([SQUARE], 0.0, 0.5, (0.0, 0.0))
    assert len(points) == 2 * 40
    assert drawn.tolist() == [False] + [True] * 79
    # 40 lines of 20 mm and 39 steps of half a millimetre
    assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(40 * 20 + 39 * 0.5)


def test_a_hole_is_walked_round_not_jumped_line_by_line() -> None:
    _, drawn = hatch([SQUARE, np.array([[5, 5], [5, 15], [15, 15], [15, 5]], float)], 0.0, 0.5, (0.0, 0.0))
    # below, left, above, right: at most four runs, so at most four ways without drawing
    assert (~drawn).sum() <= 4


def test_lines_begin_at_the_end_that_is_nearest() -> None:
    assert hatch([SQUARE], 0.0, 0.5, (21.0, 21.0))[0][0].tolist() == [20.0, 19.75]
    assert hatch([SQUARE], 0.0, 0.5, (-1.0, 0.0))[0][0].tolist() == [0.0, 0.25]


@pytest.mark.parametrize("loops", [[], [SQUARE / 100]])
def test_where_no_line_fits_there_is_none(loops: list[np.ndarray]) -> None:
    points, drawn = hatch(loops, 0.0, 0.5, (0.0, 0.0))
    assert points.shape == (0, 2)
    assert drawn.size == 0


def test_lines_without_spacing_are_refused() -> None:
    with pytest.raises(ValueError, match="spacing"):
        hatch([SQUARE], 0.0, 0.0, (0.0, 0.0))


def test_many_scattered_pieces_are_all_drawn_once() -> None:
    # more runs than are ordered by distance
    tiles = [SQUARE / 20 + [2 * i, 2 * j] for i in range(30) for j in range(30)]
    points, _ = hatch(tiles, 0.0, 0.25, (0.0, 0.0))
    lengths = np.hypot(*(points[1::2] - points[::2]).T)
    assert lengths.sum() == pytest.approx(900 * 4 * 1.0)
    path, owner = draw_loops(tiles, (0.0, 0.0))
    assert sorted(set(owner.tolist())) == list(range(-1, 900))
    assert len(path) == 900 * 5


def test_loops_are_closed_and_taken_nearest_first() -> None:
    far = SQUARE + np.array([100, 0])
    path, owner = draw_loops([far, SQUARE], (-1.0, 21.0))
    assert owner.tolist() == [-1, 1, 1, 1, 1, -1, 0, 0, 0, 0]
    assert path[0].tolist() == path[4].tolist() == [0.0, 20.0]
    assert path[5].tolist() == [100.0, 20.0]
