"""Pages of classes: whole journeys of a teacher through the test client, what was typed never lost."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from lessons.actions.classes import make_class
from lessons.actions.students import add_student
from lessons.classes.members import teams_seen
from lessons.models import Meeting, Membership, SchoolClass, SchoolDay
from lessons.views.cards import qr_svg
from makerlab.accounts.models import User
from tests.lessons.rosters import packages as build
from tests.world import PIN

pytestmark = pytest.mark.django_db


def address(name: str, *args: int) -> str:
    return reverse(f"lessons:{name}", args=args)


def hidden(page: str) -> dict[str, str]:
    """The hidden fields of a page's forms, the last one of a name."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page)
    return {name: html.unescape(value) for name, value in found}


@pytest.fixture
def teacher(world, signed_in):
    return signed_in(world.teacher)


def body(answer) -> str:
    return answer.content.decode()


def test_a_teacher_makes_a_class_brings_in_a_list_and_prints_cards(world, teacher):
    made = teacher.post(address("class-new"), {"name": "7C", "school_year": "2026-27", "term": "Autumn"})
    school_class = SchoolClass.objects.get(name="7C")
    assert made.url == address("class-detail", school_class.pk)
    preview = teacher.post(address("class-import", school_class.pk), {"text": "Juno, Hares\nPip, Hares\nTavi"})
    assert Membership.objects.filter(school_class=school_class).count() == 0, "a preview saves nothing"
    assert "Teams that would be made: Hares" in re.sub(r"\s+", " ", body(preview))
    teacher.post(address("class-import", school_class.pk), {**hidden(body(preview)), "step": "save"})
    assert sorted(school_class.memberships.values_list("nickname", flat=True)) == ["Juno", "Pip", "Tavi"]
    choose = body(teacher.get(address("class-cards", school_class.pk)))
    assert choose.count(" checked") == 4, "all three have no card yet; and the paper"
    chosen = [str(pk) for pk in school_class.memberships.values_list("pk", flat=True)]
    cards = teacher.post(
        address("class-cards", school_class.pk),
        {"student": chosen, "seen": hidden(choose)["seen"], "paper": "letter"},
    )
    page = body(cards)
    assert "no-store" in cards["Cache-Control"]
    assert page.count('class="join-card"') == 3
    assert "sheet-of-cards letter" in page
    for card in re.split(r'<li class="join-card">', page)[1:]:
        pictures = re.findall(r'icons\.svg#([\w-]+)"', card.split("</ol>")[0])
        nickname = re.search(r'class="nickname">([^<]+)<', card)[1]
        client = type(teacher)()
        values = {f"picture{place}": name for place, name in enumerate(pictures, start=1)}
        signed = client.post(
            address("student-sign-in"), {"class_code": school_class.code, "nickname": nickname, **values}
        )
        assert signed.status_code == 302, "what the card shows opens the sign-in"


def test_a_card_page_sent_twice_makes_no_second_set(world, teacher):
    page = address("class-cards", world.school_class.pk)
    values = {"student": [world.student.memberships.get().pk], "seen": hidden(body(teacher.get(page)))["seen"]}
    assert teacher.post(page, values).status_code == 200
    again = teacher.post(page, values)
    assert again.status_code == 422
    assert "made after you opened this page" in body(again)


def test_what_changed_meanwhile_is_told_in_the_preview(world, teacher):
    page = address("class-import", world.school_class.pk)
    preview = body(teacher.post(page, {"text": "Zuri\nBee"}))
    add_student(world.administrator, world.school_class, "Bee")
    again = teacher.post(page, {**hidden(preview), "step": "save"})
    assert again.status_code == 422
    assert "The class changed after this preview was made" in body(again)
    assert not world.school_class.memberships.filter(nickname="Zuri").exists()
    assert teacher.post(page, {**hidden(body(again)), "step": "save"}).status_code == 302
    assert world.school_class.memberships.filter(nickname="Zuri").exists()


def test_a_preview_somebody_wrote_themselves_is_not_saved(world, teacher):
    page = address("class-import", world.school_class.pk)
    for forged in ("", "eyJ4IjoxfQ:1:2", hidden(body(teacher.post(page, {"text": "Zuri"})))["list"][:-3]):
        answer = teacher.post(page, {"step": "save", "list": forged, "seen": "x"}, follow=True)
        assert "too old to be saved" in body(answer)


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [("list.csv", b"animal,legs\nhare,4\n", "No column is named nickname"), ("list.csv", b"a\0b", "not text"),
     ("list.zip", b"PK\x03\x04nothing", "damaged"), ("list.zip", build.package(users=None), "has no users.csv")],
    ids=["no column", "binary", "cut off", "no users"],
)  # fmt: skip
def test_a_file_that_cannot_be_read_says_why(world, teacher, name, data, told):
    page = address("class-import", world.school_class.pk)
    answer = teacher.post(page, {"step": "read", "file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 422
    assert told in body(answer)


def test_a_list_typed_wrongly_is_kept(world, teacher):
    answer = teacher.post(address("class-import", world.school_class.pk), {"text": "   \n"})
    assert answer.status_code == 422


@pytest.mark.parametrize("version", ["1.1", "1.2"])
def test_several_classes_from_one_package_twice(world, teacher, version):
    for turn in range(2):
        file = SimpleUploadedFile("export.zip", build.package(version))
        page = body(teacher.post(address("package-import"), {"file": file}))
        for secret in build.SECRETS:
            assert secret not in page
        fields = re.findall(r'name="((?:list|seen|name|row)[-\d]*)" value="([^"]*)"', page)
        values: dict[str, list[str]] = {}
        for name, value in fields:
            values.setdefault(name, []).append(html.unescape(value))
        answer = teacher.post(address("package-import"), {**values, "take-1": "1", "take-2": "1", "step": "save"})
        assert answer.status_code == 302, turn
    made = SchoolClass.objects.filter(teachers=world.teacher).exclude(sourced_id="")
    assert sorted(made.values_list("name", "sourced_id", "school_year")) == [
        ("Science 7B", "c-1", "2026-27"),
        ("Science 8A", "c-2", "2026-27"),
    ]
    assert Membership.objects.filter(school_class__in=made).count() == 4
    stored = repr(list(Membership.objects.values()) + list(User.objects.values()) + list(made.values()))
    for secret in build.SECRETS:
        assert secret not in stored


def test_a_class_somebody_else_runs_is_not_taken_over(world, teacher):
    SchoolClass.objects.filter(pk=world.far_class.pk).update(sourced_id="c-1")
    before = world.far_class.memberships.count()
    page = body(teacher.post(address("package-import"), {"file": SimpleUploadedFile("e.zip", build.package())}))
    assert "another teacher has this class here" in page
    values = {n: html.unescape(v) for n, v in re.findall(r'name="((?:list|seen|name)-\d|row)" value="([^"]*)"', page)}
    teacher.post(address("package-import"), {**values, "row": ["1", "2"], "take-1": "1", "step": "save"})
    assert world.far_class.memberships.count() == before


class TestTeams:
    def test_a_preview_is_saved_as_shown(self, world, teacher):
        for name in ("Zuri", "Bee", "Odie"):
            add_student(world.teacher, world.school_class, name)
        page = address("class-teams", world.school_class.pk)
        before = teams_seen(world.school_class)
        shown = body(teacher.get(page, {"rule": "drawn", "team_size": 2, "seed": 7}))
        assert teams_seen(world.school_class) == before
        assert "Drawn with number 7" in shown
        teacher.post(address("class-form-teams", world.school_class.pk), hidden(shown) | {"seed": "7"})
        for team in world.school_class.teams.all():
            names = ", ".join(sorted((m.nickname for m in team.memberships.all()), key=str.casefold))
            assert not names or all(name in shown for name in names.split(", "))
        assert all(team.memberships.count() <= 2 for team in world.school_class.teams.all())

    def test_by_hand_and_over_somebody_elses_change(self, world, teacher):
        page = address("class-teams", world.school_class.pk)
        member = world.student.memberships.get()
        fields = re.findall(
            r'<input type="(?:text|number)" name="((?:name|tray)-\d+)" value="([^"]*)"', body(teacher.get(page))
        )
        values = {**dict(fields), "seen": teams_seen(world.school_class)}
        values[f"student-{member.pk}"] = str(world.second_team.pk)
        add_student(world.administrator, world.school_class, "Zuri")
        told = teacher.post(page, values)
        assert told.status_code == 422
        assert "Your choices are kept here" in body(told)
        assert f'value="{world.second_team.pk}" selected' in body(told)
        values["seen"] = hidden(body(told))["seen"]
        assert teacher.post(page, values).status_code == 302
        member.refresh_from_db()
        assert member.team == world.second_team

    def test_every_choice_has_a_label(self, world, teacher):
        page = body(teacher.get(address("class-teams", world.school_class.pk)))
        ids = re.findall(r'<(?:select|input)[^>]* id="(id_[^"]+)"', page)
        assert ids
        assert all(f'for="{each}"' in page for each in ids if "seen" not in each and "seed" not in each)


class TestMeetings:
    def test_a_series_is_shown_then_saved(self, world, teacher):
        page = address("class-meetings", world.school_class.pk)
        first = timezone.localdate() + timedelta(days=30)
        SchoolDay.objects.create(school=world.school, date=first + timedelta(days=7), name="Bridge day")
        values = {"period": "1", "first": f"{first}", "last": f"{first + timedelta(days=20)}", "purpose": "try wheels"}
        shown = body(teacher.post(page, {**values, "step": "show"}))
        assert "2 meetings" in shown
        assert "Bridge day" in shown
        before = world.school_class.meetings.count()
        teacher.post(page, hidden(shown))
        assert world.school_class.meetings.count() == before + 2
        assert world.school_class.meetings.filter(purpose="try wheels").count() == 2

    def test_a_move_says_what_it_does_first(self, world, teacher):
        page = address("meeting-detail", world.meeting.pk)
        day = timezone.localdate() + timedelta(days=12)
        shown = body(teacher.post(page, {"step": "show", "day": f"{day}", "period": "2", "rule": "along"}))
        assert "files may come in until" in shown
        start = Meeting.objects.get(pk=world.meeting.pk).starts_at
        assert start == world.meeting.starts_at
        assert teacher.post(page, hidden(shown)).status_code == 302
        assert Meeting.objects.get(pk=world.meeting.pk).period == "2"


class TestBellSchedule:
    def test_staff_see_it_and_administrators_change_it(self, world, signed_in):
        page = address("day-list")
        assert "New kind of day" not in body(signed_in(world.teacher).get(page))
        admin = signed_in(world.administrator)
        assert "New kind of day" in body(admin.get(page))
        wrong = admin.post(address("kind-new"), {"name": "late start", "periods": "A, 9:00, 8:00"})
        assert wrong.status_code == 422
        assert "ends before it begins" in body(wrong)
        assert "A, 9:00, 8:00" in body(wrong), "what was typed is kept"
        right = admin.post(address("kind-new"), {"name": "late start", "periods": "A, 9:00, 9:50", "weekdays": ["2"]})
        assert right.status_code == 302
        assert "Late start" in body(admin.get(page))


def test_the_qr_code_holds_the_address_and_no_style():
    """ISO/IEC 18004: a version 1 symbol has 21 modules a side and each version 4 more; 4 modules of quiet zone."""
    drawn = str(qr_svg("https://lab.school.invalid/sign-in/student/?class=PINE-4729"))
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', drawn)[1])
    assert (side - 2 * 4 - 21) % 4 == 0
    assert "style=" not in drawn
    assert "PINE" not in drawn


def test_the_class_sign_holds_nobodys_pictures(world, teacher):
    page = body(teacher.get(address("class-sign", world.school_class.pk), {"paper": "letter"}))
    assert world.school_class.code in page
    assert world.student.display_name not in page
    assert not any(f"#{picture}" in page for picture in (*PIN.split(",")[:1], "b-wren", "b-heron"))


def test_an_administrator_sees_every_class_a_teacher_their_own(world, signed_in):
    make_class(world.far_teacher, "9Z by night", {})
    assert "9Z by night" in body(signed_in(world.administrator).get(address("class-list")))
    assert "9Z by night" not in body(signed_in(world.teacher).get(address("class-list")))
