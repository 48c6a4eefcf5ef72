"""Figures side by side, and the words of a report."""

from __future__ import annotations

import math

import pytest

from submissions import wording
from submissions.compare import side_by_side, spin_inertia_gcm2
from tests.submissions.make import make_submission, report

pytestmark = pytest.mark.django_db


def cylinder_report(radius_mm: float, height_mm: float, axis, density_g_cm3: float = 1.24, **changes):
    """Inertia of a solid cylinder: m r^2 / 2 about its axis, m (3 r^2 + h^2) / 12 across it (any mechanics text)."""
    mass_kg = density_g_cm3 * 1e-6 * math.pi * radius_mm**2 * height_mm
    along = mass_kg * (radius_mm * 1e-3) ** 2 / 2
    across = mass_kg * (3 * (radius_mm * 1e-3) ** 2 + (height_mm * 1e-3) ** 2) / 12
    size = [along if part else across for part in axis]
    tensor = [[size[i] if i == j else 0.0 for j in range(3)] for i in range(3)]
    hole = {**report()["holes"][0], "axis": list(axis)}
    return report(inertia_kg_m2=tensor, holes=[hole], **changes), along


@pytest.mark.parametrize("axis", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)])
def test_spin_inertia_is_about_the_hole(world, axis):
    stored, along_kg_m2 = cylinder_report(30.0, 8.0, axis)
    submission = make_submission(world, report=stored)
    assert spin_inertia_gcm2(submission) == pytest.approx(along_kg_m2 * 1000 * 100**2, rel=1e-12)  # kg m2 to g cm2


@pytest.mark.parametrize("changes", [{"holes": []}, {"holes": None}, {"inertia_kg_m2": None}])
def test_spin_inertia_is_unknown_without_hole_or_closed_skin(world, changes):
    assert spin_inertia_gcm2(make_submission(world, report=report(**changes))) is None


def test_spin_inertia_of_four_in_a_file_is_not_of_one(world):
    assert spin_inertia_gcm2(make_submission(world, copies_in_file=4)) is None


def rows(table) -> dict[str, tuple[list[str], str]]:
    return {row.name: ([cell.replace("\xa0", " ") for cell in row.cells], row.change) for row in table.rows}


def test_columns_and_changes(world):
    first = make_submission(world, mass_g=14.9, height_mm=8.0)
    second = make_submission(world, version=2, mass_g=11.6, height_mm=7.4)
    later = make_submission(world, version=3, mass_g=99.0)
    table = side_by_side(world.wheel, [first, second, later], second)
    assert table.heads == ["Starting part", "Version 1", "Version 2"]
    found = rows(table)
    assert found["Mass of one"][0] == ["10.0 g", "14.9 g", "11.6 g"]
    assert found["Mass of one"][1].replace("\xa0", " ") == "3.3 g lighter"
    assert found["Height"][1].replace("\xa0", " ") == "0.60 mm lower"
    assert found["Width"][1] == "the same"
    assert found["Hole"][0] == ["not known", "3.20 mm", "3.20 mm"]


def test_only_the_newest_three_versions_are_shown(world):
    versions = [make_submission(world, version=number) for number in range(1, 7)]
    assert side_by_side(world.wheel, versions, versions[-1]).heads[1:] == ["Version 4", "Version 5", "Version 6"]


def test_nothing_to_compare_makes_no_table(world):
    world.wheel.report = None
    only = make_submission(world)
    assert side_by_side(world.wheel, [only], only) is None


def test_an_unreadable_version_makes_no_table_of_its_own(world):
    first = make_submission(world)
    broken = make_submission(world, version=2, check_state="failed")
    broken.report = None
    assert side_by_side(world.wheel, [first, broken], broken) is None


@pytest.mark.parametrize(
    ("title", "inside"),
    [("The hole is small", "the hole is small"), ("A wall is thin", "a wall is thin"), ("PLA is soft", "PLA is soft")],
)
def test_titles_inside_a_sentence(title, inside):
    assert wording.in_sentence(title) == inside


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"check_state": "checking"}, "in progress"),
        ({"check_state": "failed"}, "could not be checked"),
        ({"verdict": "rejected"}, "cannot be read"),
        ({"verdict": "must_fix"}, "1 thing must be fixed"),
        ({"verdict": "advice"}, "1 piece of advice"),
        ({"verdict": "ok"}, "everything passes"),
    ],
)
def test_short_results(world, values, says):
    assert wording.short_result(make_submission(world, **values)) == says


def test_several_findings_are_counted_and_named(world):
    stored = report("must_fix")
    stored["findings"] = [*stored["findings"], {**stored["findings"][0], "title": "The skin has gaps"}]
    banner = wording.verdict_banner(make_submission(world, verdict="must_fix", report=stored))
    assert banner.title == "2 things must be fixed before it can print."
    assert banner.text == "The hub hole is too small for the axle; the skin has gaps."


def test_findings_are_sorted_by_what_must_be_done(world):
    stored = report("must_fix")
    stored["findings"] = list(reversed(stored["findings"]))
    submission = make_submission(world, verdict="must_fix", report=stored)
    assert [finding["level"] for finding in wording.sort_findings(submission)] == ["must_fix", "advice", "passes"]


def test_a_file_of_four_is_compared_by_its_share(world):
    four = make_submission(world, mass_g=40.0, duration_s=4000.0, width_mm=124.0, copies_in_file=4)
    found = rows(side_by_side(world.wheel, [four], four))
    assert found["Mass of one"][0] == ["10.0 g", "10.0 g"]
    assert found["Width"][0] == ["60.0 mm", "not known"]
    assert found["Height"][1] == "the same"
