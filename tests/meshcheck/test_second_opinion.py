"""trimesh measures every demo file and agrees to 1e-6 wherever both have a figure."""

from __future__ import annotations

import pytest

from makerlab.demo.fixtures import student_files, student_path
from meshcheck.check import check_part
from meshcheck.second_opinion import second_opinion

FILES = {entry["file"]: entry for entry in student_files()}
# overlapping shells: trimesh counts the shared room several times, we count it once
OVERLAPPING = "otters-wheel-1.stl"


@pytest.mark.parametrize("name", sorted(set(FILES) - {OVERLAPPING}))
def test_both_agree(name):
    data = student_path(FILES[name]).read_bytes()
    report = check_part(data, name)
    opinions = second_opinion(data, report)
    assert bool(opinions) == (FILES[name]["verdict"] != "rejected")
    for opinion in opinions:
        if opinion.difference is None:
            assert opinion.ours == opinion.theirs or opinion.name == "volume"
        else:
            assert opinion.difference < 1e-6, opinion


def test_they_disagree_where_bodies_overlap_and_we_say_why():
    data = student_path(FILES[OVERLAPPING]).read_bytes()
    report = check_part(data, OVERLAPPING)
    volume = next(opinion for opinion in second_opinion(data, report) if opinion.name == "volume")
    assert volume.ours < volume.theirs * 0.999
    assert "overlapping_bodies" in {finding.code for finding in report.findings}
