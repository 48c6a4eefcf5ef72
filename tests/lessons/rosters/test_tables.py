"""Pasted lists and CSV files."""

from __future__ import annotations

import time
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessons.rosters import Roster, RosterRefused, read_csv, read_paste


def nicknames(roster: Roster) -> list[str]:
    return [student.nickname for student in roster.students]


def teams(roster: Roster) -> list[str]:
    return [student.team for student in roster.students]


def told(roster: Roster) -> list[tuple[str, int]]:
    return [(problem.code, problem.row) for problem in roster.problems]


def notes(roster: Roster) -> list[str]:
    return [note.code for note in roster.notes]


def refused(data: bytes) -> str:
    with pytest.raises(RosterRefused) as caught:
        read_csv(data)
    return caught.value.problem.code


def test_a_pasted_list():
    roster = read_paste("Juno, Hares\n\n  Pip ; Hares\nTavi\tToads\nMarlo|3\nBee\r\n")
    assert nicknames(roster) == ["Juno", "Pip", "Tavi", "Marlo", "Bee"]
    assert teams(roster) == ["Hares", "Hares", "Toads", "3", ""]
    assert [student.row for student in roster.students] == [1, 3, 4, 5, 6]


def test_rows_that_cannot_stay_are_told_with_their_number():
    roster = read_paste("Juno\njuno\npip@school.invalid\n0151 555 0199\n" + "x" * 41 + "\n,Hares\n--\nPip")
    assert nicknames(roster) == ["Juno", "Pip"]
    assert told(roster) == [
        ("twice", 2), ("email", 3), ("phone", 4), ("long_nickname", 5), ("no_nickname", 6), ("no_letter", 7),
    ]  # fmt: skip


def test_full_names_and_first_names_behind_a_comma_are_noticed():
    assert notes(read_paste("Juno Alder\nPip Birch\nTavi Cedar")) == ["full_names"]
    assert "many_teams" in notes(read_paste("\n".join(f"Alder{n}, Juno{n}" for n in range(8))))
    assert notes(read_paste("Juno A.\nPip")) == []


def test_letters_of_any_script_and_signs_of_direction():
    roster = read_paste("Zoe\u0308\n\u202eevil\u202c\n\u0130rem\nشهد\n小明\n🦔")
    assert nicknames(roster) == ["Zoë", "evil", "İrem", "شهد", "小明", "🦔"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_csv_file(separator, encoding):
    lines = [["Team", "E-mail", "Nick name", "ID"], ["Hares", "a@b.c", "Zoë", "u-1"], ["Toads", "d@e.f", "Pip", "u-2"]]
    roster = read_csv("\r\n".join(separator.join(line) for line in lines).encode(encoding))
    assert nicknames(roster) == ["Zoë", "Pip"]
    assert teams(roster) == ["Hares", "Toads"]
    assert [student.sourced_id for student in roster.students] == ["u-1", "u-2"]
    assert notes(roster) == ["ignored"]
    assert "a@b.c" not in repr(roster)


def test_a_line_that_only_names_the_separator():
    assert nicknames(read_csv(b"sep=;\r\nnickname;team\r\nJuno;Hares\r\n")) == ["Juno"]


def test_quotes_and_breaks_inside_them():
    """RFC 4180, section 2: quotes around a field that holds a comma, a break or a doubled quote."""
    roster = read_csv(b'nickname,team\r\n"Juno ""J""","Hares, early"\r\n"Pip\r\nthe second",Toads\r\n')
    assert nicknames(roster) == ['Juno "J"', "Pip the second"]
    assert teams(roster) == ["Hares, early", "Toads"]


def test_a_column_without_a_head_is_a_list():
    assert nicknames(read_csv(b'Juno\n"Pip"\nTavi\n')) == ["Juno", "Pip", "Tavi"]


def test_what_is_no_list_of_names():
    assert refused(b"") == "empty"
    assert refused(b",,,\n,,\n") == "empty"
    assert refused(b"nickname,team\n") == "empty"
    assert refused(b"animal,legs\nhare,4\n") == "no_column"
    assert refused(b"PK\x03\x04 a workbook") == "workbook"
    assert refused(b"nick\0name") == "binary"
    assert refused(b'nickname,team\n"Juno,Hares\n') == "quotes"
    assert refused(b"nickname\n\x81\x8d") == "encoding"
    assert refused(b"x" * (1024 * 1024 + 1)) == "too_large"
    assert refused(b"nickname\n" + b"\n".join(b"n%d" % n for n in range(501))) == "too_many_rows"


def test_one_enormous_line_takes_no_time():
    began = time.perf_counter()
    assert told(read_paste("a@" * 500_000)) == [("long_nickname", 1)]
    assert told(read_paste("a" * 1_000_000)) == [("long_nickname", 1)]
    assert time.perf_counter() - began < 60  # the square of the length would take hours


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text):
    try:
        roster = read_paste(text)
    except RosterRefused:
        return
    assert all(0 < len(student.nickname) <= 40 for student in roster.students)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data):
    with suppress(RosterRefused):
        read_csv(data)
