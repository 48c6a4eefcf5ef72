"""What is wrong with a lesson package is named, a hostile one does no harm, and nothing is half saved."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from lessons.actions import packages
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.models import KitPart, LessonPackage, LessonPlan
from lessons.plans.package import CAPS
from lessons.plans.package_reading import PackageRefused, read
from tests.lessons.plans.packages import (
    WHEEL,
    brought,
    faults,
    lesson,
    packed,
    stored_files,
    wheel_row,
)

pytestmark = pytest.mark.django_db(transaction=True)


class TestWhatIsWrongIsNamed:
    @pytest.mark.parametrize(
        ("change", "told"),
        [
            ({"format": "something"}, "does not say that it is a “makerlab lesson”"),
            ({"format_version": 2}, "format version 2; this Makerlab reads version 1"),
            ({"format_version": True}, "format version True"),
            ({"title": ""}, "Title: Please fill this in."),
            ({"title": 7}, "Title: This must be text."),
            ({"title": "x" * 121}, "Title: 121 letters are too many here"),
            ({"meetings_count": 0}, "Meetings: Write a whole number from 1 to 30."),
            ({"group_size": "many"}, "Students in a team: Write a whole number from 1 to 12."),
            ({"content": []}, "“content” must be a table of fields."),
            ({"content": {"objectives": "Time"}}, "Objectives: This must be a list of rows."),
            ({"content": {"steps": [{"meeting": 1, "minutes": 5, "title": "", "text": "Go."}]}},
             "Steps, row 1, Title: Please fill this in."),
            ({"content": {"steps": [{"meeting": 2, "minutes": 5, "title": "Go", "text": "Go."}]}},
             "Steps, row 1, Meeting: The lesson has 1 meetings."),
            ({"content": {"experiment": {"changed": 3}}}, "Experiment: "),
            ({"kit": {}}, "“kit” must be a list of parts."),
            ({"kit": [wheel_row()] * 41}, "at most 40 parts"),
            ({"kit": [7]}, "Kit part 1, ?, it must be a table of fields."),
        ],
    )  # fmt: skip
    def test_of_the_plan(self, change, told):
        assert told in faults(lesson(**change))

    @pytest.mark.parametrize(
        ("change", "told"),
        [
            ({"name": ""}, "Kit part 1, ?, Name: "),
            ({"name": ["Wheel"]}, "Kit part 1, ['Wheel'], name: this must be text."),
            ({"code": "../wheel"}, "code: 1 to 40 letters"),
            ({"copies_per_team": -1}, "Copies for a team: "),
            ({"copies_per_team": 2.5}, "Copies for a team: "),
            ({"copies_per_team": 1e300}, "Copies for a team: "),
            ({"copies_per_team": True}, "Copies for a team: "),
            ({"spares": 201}, "Spares for the class: "),
            ({"material": "cheese"}, "Material: "),
            ({"redesignable": "no"}, "redesignable: this is true or false."),
            ({"task": ""}, "What teams are asked to make: "),
            ({"unit": "furlong"}, "unit: “furlong” is not one of mm"),
            ({"sha256": "0" * 64}, "wheel.stl is not the file the lesson was exported with"),
            ({"sha256": "short"}, "sha256: 64 digits"),
            ({"file": "meshes/other.stl"}, "meshes/other.stl is not in the package"),
            ({"file": "lesson.json"}, "file: the kinds .stl, .3mf, .obj are read."),
            ({"settings": {"infill_share": 9}}, "settings: infill must be between 0 and 100 %."),
            ({"settings": {"infill_share": "much"}}, "settings, infill_share: this value cannot be."),
            ({"settings": {"walls": 2.5}}, "settings, walls: this value cannot be."),
            ({"settings": {"walls": 10**400}}, "settings: walls must be 1 to 50"),
            ({"settings": {"__class__": 1}}, "settings: “__class__” is no print setting."),
            ({"settings": {"material": "PLA"}}, "settings: “material” is no print setting."),
            ({"pose": [[1, 0, 0], [0, 1, 0]]}, "pose: this must be a 3 × 3 rotation."),
            ({"pose": [[2, 0, 0], [0, 0.5, 0], [0, 0, 1]]}, "pose: this must be"),
            ({"pose": [[-1, 0, 0], [0, 1, 0], [0, 0, 1]]}, "pose: this must be"),  # a mirror
            ({"pose": [[True, 0, 0], [0, 1, 0], [0, 0, 1]]}, "pose: this must be"),
            ({"gauge": 3}, "gauge: this must be a table"),
            ({"gauge": {"hole_diameter_mm": 900}}, "gauge, Hole, diameter: "),
            ({"gauge": {"hole_diameter_mm": "3.2"}}, "gauge, hole_diameter_mm: this value cannot be."),
            ({"gauge": {"hole_plus_mm": None}}, "gauge, Wider by at most: "),
            ({"gauge": {"through": 1}}, "gauge, through: this value cannot be."),
            ({"gauge": {"id": 5}}, "gauge: “id” is nothing a gauge has."),
        ],
    )
    def test_of_a_part(self, change, told):
        assert told in faults(lesson(kit=[wheel_row(**change)]))

    def test_every_fault_is_told_at_once(self):
        found = faults(lesson(title="", kit=[wheel_row(spares=-1), wheel_row(name="")]))
        for told in (
            "Title: ",
            "Kit part 1, Wheel, Spares",
            "Kit part 2, ?, Name",
            "code: another part has it already",
        ):
            assert told in found

    def test_what_is_not_known_is_left_out_and_told(self):
        document = lesson(licence="ours", kit=[wheel_row(pk=9, plan=3, archived_at="now")])
        document["content"]["secret"] = ["x"]
        found = read(packed(document, {"meshes/more.stl": b"x", "readme.txt": b"y"}))
        notes = " ".join(found.notes)
        for name in ("licence", "secret", "meshes/more.stl", "readme.txt", "pk", "plan", "archived_at"):
            assert name in notes
        assert "secret" not in found.content
        assert not {"pk", "plan", "archived_at"} & found.parts[0].values.keys()


class TestHostilePackages:
    @pytest.mark.parametrize(
        ("data", "told"),
        [
            (b"", "no lesson package"),
            (b"PK\x03\x04 but nothing more", "no lesson package"),
            (WHEEL, "no lesson package"),
            (packed()[:-300], "no lesson package"),
        ],
    )
    def test_no_package_at_all(self, data, told):
        assert told in faults(data=data)

    @pytest.mark.parametrize("name", ["../a.stl", "/etc/a.stl", "a/../../b.stl", "C:a.stl", "..\\a.stl"])
    def test_names_that_point_outside(self, name):
        assert "points outside" in faults(members={name: b"x"})

    def test_more_than_a_lesson_needs(self):
        assert "far more than a lesson needs" in faults(members={"meshes/wheel.stl": b"0" * (30 * 1024 * 1024)})
        assert "far more than a lesson needs" in faults(members={f"meshes/{n}.stl": b"x" for n in range(80)})
        assert "far more than a lesson needs" in faults(b" " * (2 * 1024 * 1024))

    def test_a_size_in_the_directory_that_lies(self):
        data = bytearray(packed(members={"meshes/wheel.stl": b"0" * (30 * 1024 * 1024)}))
        with zipfile.ZipFile(io.BytesIO(bytes(data))) as package:
            size = package.getinfo("meshes/wheel.stl").file_size
        while (place := data.find(struct.pack("<I", size))) >= 0:
            struct.pack_into("<I", data, place, 10)
        assert faults(data=bytes(data))

    def test_a_package_larger_than_the_cap_is_not_read(self, world):
        file = SimpleUploadedFile("big.zip", b"")
        file.size = CAPS.packed_bytes + 1
        file.file = None  # whoever reads it fails
        with pytest.raises(PackageRefused, match="48 MB"):
            packages.bring_package(world.teacher, file)

    @pytest.mark.parametrize(
        ("text", "told"),
        [
            (b"{", "line 1, sign 2"),
            (b"[]", "does not say that it is"),
            (b"null", "does not say that it is"),
            (b"\xff\xfe{}", "not written in UTF-8"),
            (b"[" * 100_000, "nested deeper"),
            (b'{"a":' * 100_000, "nested deeper"),
            (b'{"a": 1, "a": 2}', "cannot be: a"),
            (b'{"a": NaN}', "cannot be: NaN"),
            (b'{"a": ' + b"9" * 5000 + b"}", "a value that cannot be"),
            (json.dumps(lesson(title="a\0b")).encode(), "signs that are no text, here: a?b"),
            (json.dumps(lesson(title="a\ud800")).encode(), "signs that are no text, here: a?"),
            (json.dumps(lesson(content={"objectives": [[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]})).encode(), "nested deeper"),
            (json.dumps(lesson()).replace('"group_size": 3', '"group_size": 1e999').encode(), "too large"),
        ],
    )
    def test_json_that_is_not_as_it_should_be(self, text, told):
        assert told in faults(text)

    def test_a_file_twice(self):
        out = io.BytesIO(packed())
        with zipfile.ZipFile(out, "a") as package, pytest.warns(UserWarning, match="Duplicate"):
            package.writestr("lesson.json", b"{}")
        assert "holds a file twice" in faults(data=out.getvalue())

    @pytest.mark.parametrize(
        ("mesh", "told"),
        [
            (b"", "is empty"),
            (b"not a mesh at all", "Wheel, meshes/wheel.stl: "),
            (WHEEL[:-1000], "Wheel, meshes/wheel.stl: "),
            (b"solid x\nendsolid x\n", "Wheel, meshes/wheel.stl: "),
        ],
    )
    def test_a_mesh_the_engine_cannot_read(self, world, mesh, told):
        row = wheel_row(sha256=hashlib.sha256(mesh).hexdigest())
        before = stored_files()
        with pytest.raises(PackageRefused, match=told):
            brought(world.teacher, packed(lesson(kit=[row]), {"meshes/wheel.stl": mesh}))
        assert stored_files() == before
        assert not LessonPackage.objects.exists()


class TestNothingHalfSaved:
    def test_a_fault_in_the_middle_leaves_nothing(self, world, monkeypatch):
        package = brought(world.teacher, packed())
        before, plans, parts = stored_files(), LessonPlan.objects.count(), KitPart.objects.count()

        def broken(*_args: Any, **_values: Any) -> None:
            raise RuntimeError("the disk is full")

        monkeypatch.setattr(packages, "enqueue", broken)
        with pytest.raises(RuntimeError):
            packages.save_package(world.teacher, package, "Rolling home")
        assert (stored_files(), LessonPlan.objects.count(), KitPart.objects.count()) == (before, plans, parts)
        assert LessonPackage.objects.filter(pk=package.pk).exists()  # it can be tried again

    def test_a_name_that_is_taken_is_told_and_the_package_stays(self, world):
        package = brought(world.teacher, packed())
        with pytest.raises(NotPossible):
            packages.save_package(world.teacher, package, world.plan.title)
        assert packages.save_package(world.teacher, package, "Another name").title == "Another name"

    def test_saved_twice_makes_one_lesson(self, world):
        package = brought(world.teacher, packed())
        packages.save_package(world.teacher, package, "Rolling home")
        with pytest.raises((ChangedMeanwhile, PackageRefused)):
            packages.save_package(world.teacher, package, "Rolling home 2")
        assert LessonPlan.objects.filter(title__startswith="Rolling").count() == 1

    def test_a_file_changed_on_the_disk_after_the_check_is_not_saved(self, world):
        package = brought(world.teacher, packed())
        Path(package.file.path).write_bytes(packed(lesson(title="Other")))
        with pytest.raises(PackageRefused, match="no longer what was checked"):
            packages.save_package(world.teacher, package, "Rolling home")

    def test_kept_packages_go(self, world):
        brought(world.teacher, packed())
        second = brought(world.teacher, packed())
        assert list(LessonPackage.objects.all()) == [second]
        assert len([path for path in stored_files() if path.parent.name == "packages"]) == 1
        LessonPackage.objects.update(made_at=timezone.now() - timedelta(days=2))
        third = brought(world.far_teacher, packed())
        assert list(LessonPackage.objects.all()) == [third]
        packages.save_package(world.far_teacher, third, "Rolling home")
        assert not [path for path in stored_files() if path.parent.name == "packages"]

    @pytest.mark.parametrize("who", ["student", "technician"])
    def test_who_may_not_write_lessons_brings_in_none(self, world, who):
        with pytest.raises(PermissionDenied):
            brought(world.people()[who], packed())
        assert not LessonPackage.objects.exists()
