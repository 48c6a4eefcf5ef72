"""The classes somebody runs, one class with its students, and what is said about both."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.actions import classes as verbs
from lessons.actions import students
from lessons.class_forms import ClassForm, MoveForm, NicknameForm, this_school_year
from lessons.classes.members import in_other_classes, members_of, pins_seen
from lessons.classes.page import are_over, class_rows, given_to, joining_mark, sign_in_mark, student_rows
from lessons.lab.board import overlay
from lessons.models import Membership, SchoolClass
from lessons.views.common import do, own_class, own_student, tried
from makerlab.audit.models import record_seen
from makerlab.http import SignedInRequest


@require_safe
def class_list(request: SignedInRequest) -> HttpResponse:
    """The classes this person runs; those put away stand below."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    rows = list(class_rows(SchoolClass.objects.editable_by(request.user)))
    context = {
        "classes": [(row, joining_mark(row)) for row in rows if not row.archived_at],
        "archived": [row for row in rows if row.archived_at],
        "over": are_over(rows, timezone.now()),
    }
    return render(request, "lessons/classes/class_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def class_new(request: SignedInRequest) -> HttpResponse:
    """Make a class."""
    user = request.user
    if not (user.is_teacher or user.is_administrator):
        raise Http404
    form = ClassForm(request.POST or None, user=user, initial={"school_year": this_school_year()})
    made: list[SchoolClass] = []

    def make() -> None:
        made.append(verbs.make_class(user, form.cleaned_data["name"], form.values(), form.teachers() or ()))

    if request.method == "POST" and form.is_valid() and tried(form, make):
        return redirect("lessons:class-detail", pk=made[0].pk)
    return render(request, "lessons/classes/class_edit.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def class_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Rename a class, say year and term; for administrators who teaches it."""
    school_class, user = own_class(request, pk), request.user
    start = {name: getattr(school_class, name) for name in ("name", "school_year", "term")}
    form = ClassForm(request.POST or None, user=user, initial={**start, "teachers": school_class.teachers.all()})

    def change() -> None:
        verbs.change_class(user, school_class, form.cleaned_data["name"], form.values(), form.teachers())

    if request.method == "POST" and form.is_valid() and tried(form, change):
        return redirect("lessons:class-detail", pk=pk)
    context = {"form": form, "school_class": school_class}
    return render(request, "lessons/classes/class_edit.html", context, status=422 if form.errors else 200)


@require_safe
def class_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """Joining, students, teams, meetings and lessons of one class."""
    return _class_page(request, own_class(request, pk), NicknameForm())


def _class_page(request: SignedInRequest, school_class: SchoolClass, form: NicknameForm) -> HttpResponse:
    rows = student_rows(school_class)
    teams = [(team, [row.member for row in rows if row.member.team_id == team.pk]) for team in school_class.teams.all()]
    assignments = given_to(school_class)
    coming = [
        (meeting, [each for each in assignments if each.meeting_id == meeting.pk])
        for meeting in school_class.meetings.coming()
    ]
    context: dict[str, Any] = {
        "school_class": school_class,
        "joining": joining_mark(school_class),
        "rows": rows,
        "without_card": sum(not row.member.user.pin for row in rows),
        "without_team": sum(row.member.team_id is None for row in rows),
        "teams": teams,
        "coming": coming,
        "assignments": assignments,
        "form": form,
        "lab": overlay(assignments, [team for team, _members in teams]),
    }
    return render(request, "lessons/classes/class_detail.html", context, status=422 if form.errors else 200)


@require_POST
def class_add_student(request: SignedInRequest, pk: int) -> HttpResponse:
    """Add one student by nickname."""
    school_class = own_class(request, pk)
    form = NicknameForm(request.POST)

    def add() -> None:
        students.add_student(request.user, school_class, form.cleaned_data["nickname"])

    if form.is_valid() and tried(form, add):
        messages.success(request, _("Added. Make a join card, and this student can sign in."))
        return redirect("lessons:class-detail", pk=pk)
    return _class_page(request, school_class, form)


@require_POST
def class_archive(request: SignedInRequest, pk: int) -> HttpResponse:
    """Put the class away."""
    school_class = own_class(request, pk)
    do(
        request,
        lambda: verbs.archive_class(request.user, school_class),
        _("The class is archived; all its work stays."),
    )
    return redirect("lessons:class-detail", pk=pk)


@require_POST
def class_archive_several(request: SignedInRequest) -> HttpResponse:
    """Put away the classes ticked in the list, each by itself: one that may not be is told, the others are."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    ticked = [int(pk) for pk in request.POST.getlist("class") if pk.isdecimal()]
    for school_class in SchoolClass.objects.editable_by(request.user).filter(pk__in=ticked, archived_at=None):
        do(
            request,
            lambda row=school_class: verbs.archive_class(request.user, row),  # type: ignore[misc]
            _("%(class)s is archived; all its work stays.") % {"class": school_class},
        )
    return redirect("lessons:class-list")


@require_POST
def class_restore(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take the class out of the archive."""
    school_class = own_class(request, pk)
    said = _("The class is back. Open joining when new students should sign in.")
    do(request, lambda: verbs.restore_class(request.user, school_class), said)
    return redirect("lessons:class-detail", pk=pk)


@require_POST
def class_joining(request: SignedInRequest, pk: int) -> HttpResponse:
    """Open or close joining, as ``open`` says."""
    school_class, is_open = own_class(request, pk), request.POST.get("open") == "1"
    do(request, lambda: verbs.set_joining(request.user, school_class, is_open))
    return redirect("lessons:class-detail", pk=pk)


@require_POST
def class_code(request: SignedInRequest, pk: int) -> HttpResponse:
    """Give the class another code."""
    school_class = own_class(request, pk)
    said = _("The class has a new code. Cards with the old one lead nowhere: print the class sign again.")
    do(request, lambda: verbs.renew_code(request.user, school_class), said)
    return redirect("lessons:class-detail", pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def student_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One student: nickname, team, sign-in, moving and removing. POST renames."""
    member = own_student(request, pk)
    form = NicknameForm(request.POST or None, initial={"nickname": member.nickname})

    def rename() -> None:
        students.rename_student(request.user, member, form.cleaned_data["nickname"])

    if request.method == "POST" and form.is_valid() and tried(form, rename):
        messages.success(request, _("Saved. From now on this is also the name to sign in with."))
        return redirect("lessons:student-detail", pk=pk)
    return _student_page(request, member, form, _move_form(request, member))


def _move_form(request: SignedInRequest, member: Membership, data: Any = None) -> MoveForm:
    classes = SchoolClass.objects.editable_by(request.user).exclude(pk=member.school_class_id)
    return MoveForm(data, classes=classes.filter(archived_at__isnull=True).distinct())


def _student_page(request: SignedInRequest, member: Membership, form: NicknameForm, move: MoveForm) -> HttpResponse:
    record_seen(member.school_class.school_id, request.user, "see_student", member)
    members = members_of(member.school_class)
    member = next(each for each in members if each.pk == member.pk)
    context = {
        "member": member,
        "school_class": member.school_class,
        "mark": sign_in_mark(member, timezone.now()),
        "others": in_other_classes(member),
        "form": form,
        "move": move,
        "seen": pins_seen(members),
    }
    status = 422 if form.errors or move.errors else 200
    return render(request, "lessons/classes/student_detail.html", context, status=status)


@require_POST
def student_move(request: SignedInRequest, pk: int) -> HttpResponse:
    """Into another class of this teacher; with ``how`` too, into that one as well."""
    member = own_student(request, pk)
    form = _move_form(request, member, request.POST)
    made: list[Membership] = []

    def move() -> None:
        students.move_student(request.user, member, form.cleaned_data["into"])

    def put_in_too() -> None:
        made.append(students.put_into_class_too(request.user, member, form.cleaned_data["into"]))

    if request.POST.get("how") == "too":
        if form.is_valid() and tried(form, put_in_too):
            messages.success(request, _("In both classes. Either class code leads to the same sign-in."))
            return redirect("lessons:student-detail", pk=made[0].pk)
    elif form.is_valid() and tried(form, move):
        messages.success(request, _("Moved. The pictures stay; the class code to sign in with is the new class's."))
        return redirect("lessons:student-detail", pk=pk)
    return _student_page(request, member, NicknameForm(initial={"nickname": member.nickname}), form)


@require_POST
def student_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Out of the class; the team's work stays."""
    member = own_student(request, pk)
    said = _("%(name)s is out of the class and signed out. What the team handed in stays.") % {"name": member.nickname}
    do(request, lambda: students.remove_student(request.user, member), said)
    return redirect("lessons:class-detail", pk=member.school_class_id)
