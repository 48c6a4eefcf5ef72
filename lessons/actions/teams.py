"""Teams of a class: make, name, give a tray, remove, and say who is in which."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.classes import locked
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.classes.members import members_of, teams_seen
from lessons.models import Membership, SchoolClass, Team
from lessons.rosters import names
from lessons.rosters.teaming import Proposal, Rule, propose
from makerlab.accounts.models import User
from makerlab.audit.models import record

# names for teams nobody has named yet: animals of wood and water
NAMES = (
    "Otters", "Badgers", "Herons", "Voles", "Newts", "Martens", "Finches", "Hares", "Shrews", "Toads", "Larks", "Moles",
    "Plovers", "Stoats", "Swallows", "Terns", "Dormice", "Egrets", "Lapwings", "Hedgehogs",
)  # fmt: skip
NUMBER_MAX = 99


@transaction.atomic
def make_team(user: User, school_class: SchoolClass, name: str = "") -> Team:
    """One more team, with the next number and a tray of the same number if that is free. Raises NotPossible."""
    school_class = locked(user, school_class)
    team = create_team(school_class, names.clean(name))
    record(user.school_id, user, "make_team", team, school_class=school_class.pk)
    return team


def create_team(school_class: SchoolClass, name: str = "", number: int | None = None) -> Team:
    """The row. The class is locked by the caller. Raises NotPossible."""
    teams = list(school_class.teams.all())
    numbers = {team.number for team in teams}
    number = number if number and number not in numbers else max(numbers, default=0) + 1
    if number > NUMBER_MAX:
        raise NotPossible(_("A class has 99 teams at most."))
    trays = {team.tray for team in teams}
    tray = number if number not in trays else next(n for n in range(1, NUMBER_MAX + 100) if n not in trays)
    taken = {names.key(team.name) for team in teams}
    if not name:
        spare = [*NAMES[(number - 1) % len(NAMES) :], *NAMES, _("Crew %(number)s") % {"number": number}]
        name = next((each for each in spare if names.key(each) not in taken), f"{spare[-1]} {len(teams)}")
    _check_name(name, taken)
    return Team.objects.create(school_class=school_class, number=number, name=name, tray=tray)


@transaction.atomic
def remove_team(user: User, team: Team) -> None:
    """An empty team without any work. Raises NotPossible for another one: nothing a team made is ever removed here."""
    school_class = locked(user, team.school_class)
    found = Team.objects.filter(pk=team.pk, school_class=school_class).first()
    if found is None:
        return
    if found.memberships.exists():
        raise NotPossible(_("%(team)s still has students. Put them into other teams first.") % {"team": found})
    if has_work(found):
        told = _("%(team)s has handed in files, prints or readings. They stay, and so does the team.")
        raise NotPossible(told % {"team": found})
    record(user.school_id, user, "remove_team", found, school_class=school_class.pk)
    found.delete()


def has_work(team: Team) -> bool:
    """Whether anything but students hangs on the team, in whatever app."""
    for relation in Team._meta.related_objects:
        if relation.related_model is Membership:
            continue
        rows = relation.related_model._default_manager
        if rows.filter(**{relation.field.name: team}).exists():
            return True
    return False


@transaction.atomic
def set_teams(
    user: User,
    school_class: SchoolClass,
    placed: Mapping[int, int | None],
    named: Mapping[int, tuple[str, int]],
    seen: str,
) -> None:
    """Who is in which team (membership -> team or None), and each team's name and tray, by hand. ``seen``: what
    ``teams_seen`` said when the page was made. Raises NotPossible, ChangedMeanwhile."""
    school_class = locked(user, school_class)
    _check_seen(school_class, seen)
    teams = {team.pk: team for team in school_class.teams.all()}
    _check_named([named.get(pk, (team.name, team.tray)) for pk, team in teams.items()])
    for pk, (name, tray) in named.items():
        if pk in teams:
            Team.objects.filter(pk=pk).update(name=names.clean(name), tray=tray)
    if any(team is not None and team not in teams for team in placed.values()):
        raise NotPossible(_("That team is of another class."))
    _place(school_class, placed)
    record(user.school_id, user, "set_teams", school_class, students=len(placed))


@transaction.atomic
def form_teams(user: User, school_class: SchoolClass, rule: Rule, team_size: int, seed: int, seen: str) -> Proposal:
    """Put everybody into teams as the preview with this rule, size and seed showed them: into the teams there are, in
    order of number, and new ones if those do not suffice. Raises ChangedMeanwhile."""
    school_class = locked(user, school_class)
    _check_seen(school_class, seen)
    proposal = proposal_for(school_class, rule, team_size, seed)
    teams = list(school_class.teams.order_by("number"))
    while len(teams) < len(proposal.teams):
        teams.append(create_team(school_class))
    placed = {
        pk: team.pk for team, group in zip(teams, proposal.teams, strict=False) for pk in group
    }  # teams beyond the proposal stay, empty, with their work
    _place(school_class, placed)
    record(user.school_id, user, "form_teams", school_class, rule=rule.value, team_size=team_size, seed=seed)
    return proposal


def proposal_for(school_class: SchoolClass, rule: Rule, team_size: int, seed: int) -> Proposal:
    """Teams of membership keys by the rule. Changes nothing; the same seed says the same again."""
    members = members_of(school_class)
    now = {member.pk: member.team_id for member in members if member.team_id}
    return propose([member.pk for member in members], team_size, rule, seed, now)


def _place(school_class: SchoolClass, placed: Mapping[int, int | None]) -> None:
    for pk, team in placed.items():
        school_class.memberships.filter(pk=pk).update(team=team)


def _check_seen(school_class: SchoolClass, seen: str) -> None:
    if teams_seen(school_class) != seen:
        raise ChangedMeanwhile(_("Somebody changed the teams after you opened this page."))


def _check_named(named: Iterable[tuple[str, int]]) -> None:
    taken: set[str] = set()
    trays: set[int] = set()
    for name, tray in named:
        name = names.clean(name)
        _check_name(name, taken)
        taken.add(names.key(name))
        if tray in trays:
            raise NotPossible(_("Tray %(tray)s is given twice. Each team of a class has its own.") % {"tray": tray})
        trays.add(tray)


def _check_name(name: str, taken: Sequence[str] | set[str]) -> None:
    if not name or len(name) > 40:
        raise NotPossible(_("A team has a name of 1 to 40 letters."), "name")
    if names.key(name) in taken:
        raise NotPossible(_("Two teams cannot both be called %(name)s.") % {"name": name}, "name")
