"""OneRoster packages of both versions, whole, of changes, and damaged."""

from __future__ import annotations

import io
import struct
import time
import zipfile
from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessons.rosters import Package, RosterRefused, read_oneroster
from tests.lessons.rosters import packages as build

TODAY = date(2026, 11, 25)


def read(data: bytes) -> Package:
    return read_oneroster(data, TODAY)


def refused(data: bytes) -> str:
    with pytest.raises(RosterRefused) as caught:
        read(data)
    return caught.value.problem.code


def nicknames(found: Package, place: int = 0) -> list[str]:
    return [student.nickname for student in found.classes[place].roster.students]


def codes(found: Package) -> list[str]:
    rows = [problem.code for each in found.classes for problem in each.roster.problems]
    return rows + [problem.code for problem in (*found.problems, *found.notes)]


@pytest.mark.parametrize("version", ["1.1", "1.2"])
def test_a_whole_package(version):
    found = read(build.package(version))
    assert found.version == version
    assert [each.title for each in found.classes] == ["Science 7B", "Science 8A"]
    assert [each.sourced_id for each in found.classes] == ["c-1", "c-2"]
    assert nicknames(found) == ["Juno", "Pip", "Pip"], "the teacher is no student"
    assert [student.sourced_id for student in found.classes[0].roster.students] == ["u-1", "u-2", "u-3"]
    assert [each.school_year for each in found.classes] == ["2026-27", "2026-27"]
    assert [each.term for each in found.classes] == ["Autumn", "Autumn, Spring"]
    assert found.classes[0].roster.is_whole


@pytest.mark.parametrize("version", ["1.1", "1.2"])
def test_nothing_private_is_taken_over(version):
    found = repr(read(build.package(version)))
    for secret in build.SECRETS:
        assert secret not in found


def test_files_nobody_needs_are_never_opened():
    """demographics.csv is damaged here; the class list is read all the same, so nobody looked at it."""
    members = build.files()
    data = bytearray(build.packed(members))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as package:
        place = package.getinfo("demographics.csv").header_offset
    data[place + 30 + len("demographics.csv") + 2] ^= 0xFF
    assert nicknames(read(bytes(data))) == ["Juno", "Pip", "Pip"]


def test_from_1_2_on_the_role_stands_in_its_own_file():
    people = [dict(person) for person in build.PEOPLE]
    rows = [build.role(person) for person in people]
    rows[0]["role"] = "aide"
    found = read(build.package("1.2", roles=build.table(build.ROLES, rows)))
    assert nicknames(found) == ["Pip", "Pip"]
    assert "not_student" in codes(found)


def test_a_role_that_is_over_counts_no_more():
    rows = [build.role(person) for person in build.PEOPLE]
    rows[0]["endDate"] = "2026-06-30"
    assert nicknames(read(build.package("1.2", roles=build.table(build.ROLES, rows)))) == ["Pip", "Pip"]


def test_preferred_names_come_first():
    people = [build.user("u-1", "Junifer", preferredGivenName="Juno"), *build.PEOPLE[1:]]
    kept = [{name: value for name, value in person.items() if name in build.USERS_1_2} for person in people]
    assert nicknames(read(build.package("1.2", users=build.table(build.USERS_1_2, kept))))[0] == "Juno"


def test_without_a_manifest_the_version_is_told():
    found = read(build.package("1.2", manifest=None))
    assert found.version == "1.2"
    assert "no_manifest" in codes(found)


def test_columns_are_found_by_name_and_unknown_ones_ignored():
    columns = ("metadata.favourite", *reversed(build.ENROLLMENTS))
    enrolled = [{**row, "metadata.favourite": "newts"} for row in build.ENROLLED]
    assert nicknames(read(build.package(enrollments=build.table(columns, enrolled)))) == ["Juno", "Pip", "Pip"]


def test_heads_in_other_letters_are_read_and_told():
    data = build.files()["users.csv"].replace(b"givenName", b"givenname")
    found = read(build.package(users=data))
    assert nicknames(found)[0] == "Juno"
    assert "head_case" in codes(found)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
def test_encodings_with_a_mark(encoding):
    people = [build.user("u-1", "Zoë Łucja"), *build.PEOPLE[1:]]
    text = build.table(build.USERS_1_1, people).decode()
    assert nicknames(read(build.package(users=text.encode(encoding))))[0] == "Zoë Łucja"


def test_western_letters_without_a_mark_are_read_and_told():
    people = [build.user("u-1", "Zoë"), *build.PEOPLE[1:]]
    found = read(build.package(users=build.table(build.USERS_1_1, people).decode().encode("cp1252")))
    assert nicknames(found)[0] == "Zoë"
    assert "old_letters" in codes(found)


def test_who_is_disabled_or_whose_enrollment_is_over_is_left_out_and_counted():
    people = [build.user("u-1", "Juno", enabledUser="false"), *build.PEOPLE[1:]]
    enrolled = [dict(row) for row in build.ENROLLED]
    enrolled[1]["endDate"] = "2026-11-24"
    enrolled[2]["endDate"] = "2026-11-25"  # today is still a day of the class
    members = build.files(people=people, enrolled=enrolled)
    found = read(build.packed(members))
    assert nicknames(found) == ["Pip"]
    assert {"not_enabled", "ended"} <= set(codes(found))


class TestChangesOnly:
    def delta(self, **changed: bytes | None) -> bytes:
        values = {"manifest": build.manifest("1.1", "delta"), "academicSessions": None, "courses": None, "orgs": None}
        dated = {"status": "active", "dateLastModified": "2026-11-20T08:00:00Z"}
        everybody = [{**person, **dated} for person in build.PEOPLE]
        classes = [{**each, **dated} for each in build.LESSON_CLASSES]
        values["users"] = build.table(build.USERS_1_1, everybody)
        values["classes"] = build.table(build.CLASSES, classes)
        return build.package(**{**values, **changed})

    def rows(self, *rows: dict[str, str]) -> bytes:
        return build.table(build.ENROLLMENTS, rows)

    def test_only_who_is_marked_has_left(self):
        rows = self.rows(
            build.enrollment("e-1", "c-1", "u-1", status="tobedeleted", dateLastModified="2026-11-20"),
            build.enrollment("e-5", "c-1", "u-4", status="active", dateLastModified="2026-11-20"),
        )
        found = read(self.delta(enrollments=rows))
        roster = found.classes[0].roster
        assert not roster.is_whole
        assert roster.gone == ("u-1",)
        assert nicknames(found) == ["Zuri"]
        assert "changes_only" in codes(found)

    def test_a_row_without_status_is_told_and_left_out(self):
        rows = self.rows(
            build.enrollment("e-1", "c-1", "u-1"),
            build.enrollment("e-5", "c-1", "u-4", status="active", dateLastModified="2026-11-20"),
        )
        found = read(self.delta(enrollments=rows))
        assert nicknames(found) == ["Zuri"]
        assert "no_status" in codes(found)

    def test_of_two_rows_with_one_key_the_later_change_counts(self):
        rows = self.rows(
            build.enrollment("e-1", "c-1", "u-1", status="active", dateLastModified="2026-11-21"),
            build.enrollment("e-1", "c-1", "u-1", status="tobedeleted", dateLastModified="2026-11-20"),
        )
        assert nicknames(read(self.delta(enrollments=rows))) == ["Juno"]

    def test_classes_that_did_not_change_may_be_missing(self):
        rows = self.rows(build.enrollment("e-9", "c-9", "u-1", status="active", dateLastModified="2026-11-20"))
        found = read(self.delta(enrollments=rows, classes=None))
        assert [(each.sourced_id, each.title) for each in found.classes] == [("c-9", "")]


class TestDamage:
    def test_a_file_or_column_that_is_missing(self):
        assert refused(build.package(users=None)) == "no_file"
        assert refused(build.package(enrollments=None)) == "no_file"
        assert refused(build.package(manifest=build.manifest("1.1", users="absent"))) == "absent_file"
        assert refused(build.package(users=b"sourcedId,status\r\nu-1,active\r\n")) == "no_file_column"

    def test_a_version_nobody_here_knows(self):
        assert refused(build.package(manifest=build.manifest("2.0"))) == "version"

    def test_nobody_in_it(self):
        assert refused(build.package(enrollments=build.table(build.ENROLLMENTS, []))) == "no_class"

    @pytest.mark.parametrize("data", [b",,,,\r\n", b"\r\n\r\n", b"", b"   "])
    def test_a_file_with_nothing_in_it(self, data):
        assert refused(build.package(users=data)) == "empty"

    def test_rows_that_cannot_be_used_are_named_by_row_and_the_others_stay(self):
        rows = [
            *build.ENROLLED,
            build.enrollment("", "c-1", "u-4"),
            build.enrollment("e-7", "c-7", "u-4"),
            build.enrollment("e-8", "c-1", "u-99"),
            build.enrollment("e-9", "c-1", "u-4", status="sleeping"),
        ]
        data = build.table(build.ENROLLMENTS, rows) + b"e-10,,\r\n"
        found = read(build.package(enrollments=data))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]
        told = [(p.code, p.row) for p in (*found.problems, *found.classes[0].roster.problems)]
        assert told == [("no_id", 7), ("status", 10), ("short_row", 11), ("unknown_class", 8), ("unknown_user", 9)]

    def test_not_a_package(self):
        assert refused(b"") == "zip_broken"
        assert refused(b"nickname\nJuno\n") == "zip_broken"
        assert refused(build.package()[:-200]) == "zip_broken"

    def test_a_package_cut_or_flipped_anywhere_is_read_or_refused(self):
        data = build.package()
        for place in range(0, len(data), 37):
            flipped = bytearray(data)
            flipped[place] ^= 0x5A
            for broken in (data[:place], bytes(flipped)):
                with suppress(RosterRefused):
                    read(broken)

    def test_a_password(self):
        data = bytearray(build.packed(build.files()))
        for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
            place = data.find(mark)
            while place >= 0:
                (flags,) = struct.unpack_from("<H", data, place + offset)
                struct.pack_into("<H", data, place + offset, flags | 1)
                place = data.find(mark, place + 4)
        assert refused(bytes(data)) == "zip_locked"


class TestHostilePackages:
    def test_one_file_that_unpacks_to_far_more(self):
        bomb = build.packed({**build.files(), "users.csv": b"0" * (70 * 1024 * 1024)})
        assert len(bomb) < 200_000
        assert refused(bomb) == "zip_bomb"

    def test_a_size_in_the_directory_that_lies(self):
        """The directory says 10 bytes; what comes out is counted all the same."""
        data = bytearray(build.packed({**build.files(), "users.csv": b"0" * (30 * 1024 * 1024)}))
        with zipfile.ZipFile(io.BytesIO(bytes(data))) as package:
            size = package.getinfo("users.csv").file_size
        place = data.find(struct.pack("<I", size))
        while place >= 0:
            struct.pack_into("<I", data, place, 10)
            place = data.find(struct.pack("<I", size))
        assert refused(bytes(data)) in {"zip_bomb", "zip_broken", "no_file_column"}

    def test_too_many_members(self):
        many = build.packed({**build.files(), **{f"f{n}.csv": b"x" for n in range(200)}})
        assert refused(many) == "zip_bomb"
        crowd = build.packed({f"folder/{n:06}.csv": b"" for n in range(20_000)})
        began = time.perf_counter()
        assert refused(crowd) == "zip_bomb"
        assert time.perf_counter() - began < 60

    @pytest.mark.parametrize("name", ["../users.csv", "/etc/users.csv", "a/../../users.csv", "C:users.csv"])
    def test_names_that_point_outside(self, name):
        assert refused(build.packed({**build.files(), name: b"x"})) == "zip_unsafe"

    def test_a_file_twice(self):
        assert refused(build.packed({**build.files(), "copy/users.csv": b"x"})) == "zip_twice"

    def test_a_folder_around_the_files_and_what_some_systems_add_are_fine(self):
        members = {f"export/{name}": data for name, data in build.files().items()}
        found = read(build.packed({**members, "__MACOSX/export/._users.csv": b"\0", "export/.DS_Store": b"\0"}))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]

    def test_too_large(self):
        assert refused(b"PK\x03\x04" + b"\0" * (10 * 1024 * 1024)) == "too_large"

    @settings(max_examples=150, deadline=None)
    @given(st.data())
    def test_any_cells_are_read_or_refused(self, data):
        cells = st.text(st.characters(codec="utf-8"), max_size=12)
        people = [
            {name: data.draw(cells) for name in ("sourcedId", "givenName", "familyName", "role", "enabledUser")}
            for _ in range(3)
        ]
        enrolled = [
            {name: data.draw(cells | st.sampled_from(["c-1", "student"])) for name in build.ENROLLMENTS}
            for _ in range(3)
        ]
        members = {
            "users": build.table(build.USERS_1_1, people),
            "enrollments": build.table(build.ENROLLMENTS, enrolled),
        }
        try:
            found = read(build.package(**members))
        except RosterRefused:
            return
        for each in found.classes:
            for student in each.roster.students:
                assert 0 < len(student.nickname) <= 40
