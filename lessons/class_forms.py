"""Forms of classes, students and teams. Errors are said in place, with 422."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from lessons.classes.members import teams_read
from lessons.classes.moving import ALONG, KEEP
from lessons.models import Membership, SchoolClass, Team
from lessons.rosters.teaming import Rule
from makerlab.accounts.models import Role, User

PLAIN = {"autocomplete": "off", "spellcheck": "false"}
RULES = (
    (Rule.DRAWN.value, _("Drawn by lot")),
    (Rule.MIXED.value, _("Mixed: by lot, parting who is together now")),
    (Rule.DEALT.value, _("Dealt round by nickname")),
)


def this_school_year() -> str:
    """The school year of today, taken to begin in August (common practice in the United States, no source)."""
    today = timezone.localdate()
    first = today.year if today.month >= 8 else today.year - 1
    return f"{first}-{(first + 1) % 100:02d}"


class ClassForm(forms.Form):
    """Name, year and term; for administrators also who teaches."""

    name = forms.CharField(label=_("Name"), max_length=40, help_text=_("such as 7B"), widget=forms.TextInput(PLAIN))
    school_year = forms.CharField(label=_("School year"), max_length=9, required=False, widget=forms.TextInput(PLAIN))
    term = forms.CharField(label=_("Term"), max_length=40, required=False, widget=forms.TextInput(PLAIN))

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if user.is_administrator:
            people = User.objects.filter(school_id=user.school_id, role=Role.TEACHER, is_active=True)
            self.fields["teachers"] = forms.ModelMultipleChoiceField(
                label=_("Taught by"),
                queryset=people.order_by("display_name"),
                widget=forms.CheckboxSelectMultiple,
                required=False,
            )

    def clean_school_year(self) -> str:
        year: str = self.cleaned_data["school_year"].strip()
        found = re.fullmatch(r"(\d{4})-(\d{2})", year)
        if year and (found is None or (int(found[1]) + 1) % 100 != int(found[2])):
            raise ValidationError(_("Write a school year as 2026-27."))
        return year

    def values(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] for name in ("school_year", "term")}

    def teachers(self) -> list[User] | None:
        return list(self.cleaned_data["teachers"]) if "teachers" in self.fields else None


class NicknameForm(forms.Form):
    """A student's nickname."""

    nickname = forms.CharField(label=_("Nickname"), max_length=80, widget=forms.TextInput(PLAIN))


class MoveForm(forms.Form):
    """Which class of the same teacher a student goes to."""

    into = forms.ModelChoiceField(
        label=_("Into class"), queryset=SchoolClass.objects.none(), empty_label=_("choose a class")
    )

    def __init__(self, *args: Any, classes: QuerySet[SchoolClass], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["into"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = classes
        self.classes = list(classes)
        field.choices = [("", field.empty_label), *((each.pk, str(each)) for each in self.classes)]


class ProposalForm(forms.Form):
    """How teams are formed: a rule and how many students at most."""

    rule = forms.ChoiceField(label=_("How"), choices=RULES)
    team_size = forms.IntegerField(
        label=_("Students in a team, at most"), min_value=1, max_value=12, widget=forms.NumberInput(PLAIN)
    )
    seed = forms.IntegerField(min_value=0, max_value=10**6, widget=forms.HiddenInput)

    def rule_value(self) -> Rule:
        return Rule(self.cleaned_data["rule"])


class TeamsForm(forms.Form):
    """A choice of team for each student (``student-<key>``), a name and a tray for each team."""

    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, members: Sequence[Membership], teams: Sequence[Team], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.members, self.teams = members, teams
        self.seen_now = self.initial["seen"] = teams_read(teams, members)
        choices = [("", _("no team")), *((str(team.pk), f"{team.number} {team.name}") for team in teams)]
        for member in members:
            self.fields[f"student-{member.pk}"] = forms.ChoiceField(
                label=member.nickname, choices=choices, required=False, initial=str(member.team_id or "")
            )
        for team in teams:
            words = {"number": team.number}
            name, tray = _("Name of team %(number)s"), _("Tray of team %(number)s")
            self.fields[f"name-{team.pk}"] = forms.CharField(
                label=name % words, max_length=40, initial=team.name, widget=forms.TextInput(PLAIN)
            )
            self.fields[f"tray-{team.pk}"] = forms.IntegerField(
                label=tray % words, min_value=1, max_value=999, initial=team.tray
            )

    def groups(self) -> list[dict[str, Any]]:
        """Each team with its fields and its students' fields; last, who is in none."""
        found: list[dict[str, Any]] = [
            {"team": team, "name": self[f"name-{team.pk}"], "tray": self[f"tray-{team.pk}"], "students": []}
            for team in self.teams
        ]
        by_team = {group["team"].pk: group["students"] for group in found}
        nobodys: list[forms.BoundField] = []
        for member in self.members:
            by_team.get(member.team_id, nobodys).append(self[f"student-{member.pk}"])
        return [*found, {"team": None, "students": nobodys}]

    def placed(self) -> dict[int, int | None]:
        values: Mapping[str, Any] = self.cleaned_data
        return {m.pk: int(values[f"student-{m.pk}"]) if values[f"student-{m.pk}"] else None for m in self.members}

    def named(self) -> dict[int, tuple[str, int]]:
        values = self.cleaned_data
        return {team.pk: (values[f"name-{team.pk}"], values[f"tray-{team.pk}"]) for team in self.teams}


class PasteForm(forms.Form):
    """A list typed or pasted."""

    text = forms.CharField(
        label=_("One nickname a line, the team behind a comma if you like"),
        widget=forms.Textarea(attrs={"rows": 8, **PLAIN}),
        strip=False,
        max_length=40_000,
    )


class FileForm(forms.Form):
    """A CSV file or a OneRoster package."""

    file = forms.FileField(label=_("File"), max_length=255)


DATE = {"type": "date"}
WEEKDAYS = (
    (0, _("Monday")), (1, _("Tuesday")), (2, _("Wednesday")), (3, _("Thursday")), (4, _("Friday")), (5, _("Saturday")),
    (6, _("Sunday")),
)  # fmt: skip


class MeetingsForm(forms.Form):
    """A period on one date, or on weekdays from one date to another."""

    period = forms.ChoiceField(label=_("Period"))
    first = forms.DateField(label=_("First date"), widget=forms.DateInput(DATE, format="%Y-%m-%d"))
    last = forms.DateField(
        label=_("Last date"),
        required=False,
        widget=forms.DateInput(DATE, format="%Y-%m-%d"),
        help_text=_("leave empty for a single meeting"),
    )
    weekdays = forms.TypedMultipleChoiceField(
        label=_("Every week on"), choices=WEEKDAYS, coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )
    purpose = forms.CharField(label=_("What for"), max_length=80, required=False, widget=forms.TextInput(PLAIN))

    def __init__(self, *args: Any, periods: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["period"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(name, name) for name in periods]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        first, last = values.get("first"), values.get("last")
        if first and last and last < first:
            self.add_error("last", _("The last date lies before the first."))
        if first and last and (last - first).days > 400:
            self.add_error("last", _("A series is one school year at most."))
        return values

    def dates(self) -> list[date]:
        """The dates in order: the first one alone, or its weekday or the ticked ones until the last."""
        first: date = self.cleaned_data["first"]
        last = self.cleaned_data["last"] or first
        wanted = set(self.cleaned_data["weekdays"]) if self.cleaned_data["last"] else set()
        wanted = wanted or {first.weekday()}
        span = (first + timedelta(days=offset) for offset in range((last - first).days + 1))
        return [day for day in span if day.weekday() in wanted]


class MoveMeetingForm(forms.Form):
    """Another date and period, and what becomes of the time until which files may come in."""

    day = forms.DateField(label=_("Date"), widget=forms.DateInput(DATE, format="%Y-%m-%d"))
    period = forms.ChoiceField(label=_("Period"))
    rule = forms.ChoiceField(
        label=_("Time to hand in files"),
        choices=[(ALONG, _("moves along with the meeting")), (KEEP, _("stays as it is"))],
        initial=ALONG,
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, periods: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["period"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(name, name) for name in periods]


class PurposeForm(forms.Form):
    purpose = forms.CharField(label=_("What for"), max_length=80, widget=forms.TextInput(PLAIN))
