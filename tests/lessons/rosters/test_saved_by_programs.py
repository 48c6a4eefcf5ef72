"""OneRoster packages somebody opened in a table program and saved, and packages whose manifest is wrong."""

from __future__ import annotations

import csv
import io

import pytest

from tests.lessons.rosters import packages as build
from tests.lessons.rosters.test_oneroster import codes, nicknames, read, refused


class TestSavedFromATableProgram:
    """What programs for tables write when somebody opens a file of the package and saves it (common practice, no
    source: semicolons where the comma is the decimal sign, tabs with UTF-16, a line that names the separator)."""

    def members(self, **rewritten: bytes) -> bytes:
        return build.packed({**build.files(), **{f"{name}.csv": data for name, data in rewritten.items()}})

    def rewritten(self, data: bytes, separator: str, encoding: str, newline: str = "\r\n", first: str = "") -> bytes:
        rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
        out = io.StringIO()
        csv.writer(out, delimiter=separator, lineterminator=newline).writerows(rows)
        return (first + out.getvalue()).encode(encoding)

    @pytest.mark.parametrize("version", ["1.1", "1.2"])
    @pytest.mark.parametrize(
        ("separator", "encoding", "newline", "first"),
        [
            (";", "utf-8-sig", "\r\n", ""),
            (";", "cp1252", "\r\n", ""),
            (";", "utf-8", "\n", "sep=;\n"),
            ("\t", "utf-16", "\r\n", ""),
            ("\t", "utf-8", "\r\n", "sep=\t\r\n"),
            (",", "utf-8-sig", "\n", ""),
            ("|", "utf-8", "\r\n", ""),
        ],
    )
    def test_every_file_of_the_package(self, version, separator, encoding, newline, first):
        members = {
            name: self.rewritten(data, separator, encoding, newline, first)
            for name, data in build.files(version).items()
        }
        found = read(build.packed(members))
        assert found.version == version
        assert [each.title for each in found.classes] == ["Science 7B", "Science 8A"]
        assert nicknames(found) == ["Juno", "Pip", "Pip"]
        assert [each.term for each in found.classes] == ["Autumn", "Autumn, Spring"]
        assert ("separator" in codes(found)) == (separator != ",")
        assert not found.problems
        for secret in build.SECRETS:
            assert secret not in repr(found)

    def test_one_file_only(self):
        users = self.rewritten(build.files()["users.csv"], ";", "cp1252")
        found = read(self.members(users=users))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]
        assert [note.file for note in found.notes if note.code == "separator"] == ["users.csv"]

    def test_heads_with_spaces_other_case_and_underscores(self):
        users = build.files()["users.csv"]
        users = users.replace(b"sourcedId", b" Sourced ID ").replace(b"givenName", b"GIVEN_NAME")
        enrollments = build.files()["enrollments.csv"].replace(b"classSourcedId", b"Class sourced Id ")
        found = read(self.members(users=users, enrollments=enrollments))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]
        assert "Sourced ID, GIVEN_NAME" in [note.found for note in found.notes]

    def test_breaks_inside_quotes_keep_rows_numbered_as_the_first_line(self):
        """RFC 4180, section 2, rule 6. The family name of row 2 takes two lines, so Zuri's row begins at line 4."""
        people = [build.user("u-1", "Juno", "Quill\r\nfeather"), build.user("u-4", "Zuri", status="sleeping")]
        found = read(self.members(users=build.table(build.USERS_1_1, people)))
        assert [(problem.code, problem.row) for problem in found.problems] == [("status", 4)]
        assert nicknames(found) == ["Juno"]

    def test_keys_turned_into_rounded_numbers_are_refused_row_by_row(self):
        """Two people of 16 digits become one number, and nobody can say any more who is who."""
        people = [*build.PEOPLE, build.user("1,23457E+15", "Bee"), build.user("1.23457E+15", "Tavi")]
        found = read(self.members(users=build.table(build.USERS_1_1, people)))
        assert [(p.code, p.row) for p in found.problems] == [("key_as_number", 7), ("key_as_number", 8)]
        assert nicknames(found) == ["Juno", "Pip", "Pip"]

    def test_a_key_twice_with_other_values_is_told(self):
        people = [*build.PEOPLE, build.user("u-4", "Zora")]
        found = read(self.members(users=build.table(build.USERS_1_1, people)))
        assert [(p.code, p.row, p.found) for p in found.problems] == [("key_again", 7, "u-4")]

    @pytest.mark.parametrize(
        ("written", "stays"),
        [
            ("24.11.2026", False), ("25.11.2026", True), ("11/24/2026", False), ("24/11/2026", False),
            ("2026-11-24T00:00:00Z", False), ("3/12/2026", True), ("never", True), ("", True),
        ],
    )  # fmt: skip
    def test_end_dates_as_table_programs_write_them(self, written, stays):
        """3/12/2026 is past in one reading and to come in the other: it ends nothing, and that is told."""
        enrolled = [dict(row) for row in build.ENROLLED]
        enrolled[0]["endDate"] = written
        found = read(build.packed(build.files(enrolled=enrolled)))
        assert ("Juno" in nicknames(found)) == stays
        assert ("odd_dates" in codes(found)) == (written in {"3/12/2026", "never"})


class TestManifestsThatAreWrong:
    def test_it_names_a_file_the_package_does_not_hold(self):
        found = read(build.package("1.2", roles=None, academicSessions=None))
        assert [note.found for note in found.notes if note.code == "not_there"] == ["academicSessions.csv", "roles.csv"]
        assert nicknames(found) == ["Juno", "Pip", "Pip"]

    def test_it_states_1_2_over_the_files_of_1_1(self):
        found = read(build.package("1.1", manifest=build.manifest("1.2")))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]

    def test_it_states_1_1_over_the_files_of_1_2(self):
        found = read(build.package("1.2", manifest=build.manifest("1.1")))
        assert nicknames(found) == ["Juno", "Pip", "Pip"]

    @pytest.mark.parametrize("data", [b"", b"\0\0", b"propertyName,value\r\n", b'"propertyName,value\r\n'])
    def test_it_cannot_be_read(self, data):
        assert refused(build.package(manifest=data)) in {"empty", "binary", "version", "quotes"}
