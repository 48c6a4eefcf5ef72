"""By what the school's sign-in service knows staff: who may enter it, whom it opens, and all of it not there when it is
not turned on. The service itself: test_single_sign_on.py."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pyotp
import pytest
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.urls import reverse

from makerlab.accounts.middleware import SINCE
from makerlab.accounts.models import ServiceAccount, User
from makerlab.accounts.people import NotPossible
from makerlab.accounts.single_sign_on import BY_SERVICE, Claims, connect, person_for
from makerlab.audit.models import Event
from makerlab.environment import read_environment
from makerlab.keeping.schema import unknown
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db
ISSUER = "https://sign-in.example"


@pytest.fixture(autouse=True)
def _the_service(settings):
    settings.ENVIRONMENT = SimpleNamespace(oidc_issuer=ISSUER, oidc_name="")


def test_with_nothing_set_there_is_no_such_door(world, client, signed_in):
    assert "sign-in/school" not in text_of(client.get("/sign-in/"))
    administrator = signed_in(world.administrator)
    for name in ("single-sign-on", "single-sign-on-return"):
        assert client.get(reverse(f"accounts:{name}")).status_code == 404
        assert administrator.get(reverse(f"accounts:{name}")).status_code == 404
    path = reverse("accounts:person-connect", args=[world.teacher.pk])
    assert administrator.post(path, {"known_as": "quill@school.example"}).status_code == 404
    assert "known_as" not in text_of(administrator.get(reverse("accounts:people")))
    assert not ServiceAccount.objects.exists()


def test_an_administrator_enters_it_for_the_staff_of_the_school(world, signed_in, settings):
    settings.SINGLE_SIGN_ON = True
    administrator = signed_in(world.administrator)
    connect_ = lambda person, known_as: administrator.post(  # noqa: E731
        reverse("accounts:person-connect", args=[person.pk]), {"known_as": known_as}
    )
    assert connect_(world.teacher, "Quill@School.example").status_code == 302
    assert connect_(world.technician, "00u-rook").status_code == 302
    rows = set(ServiceAccount.objects.values_list("user__username", "email", "issuer", "subject"))
    assert rows == {("teacher", "quill@school.example", "", ""), ("technician", "", ISSUER, "00u-rook")}
    page = text_of(administrator.get(reverse("accounts:people")))
    assert 'value="quill@school.example"' in page
    assert 'value="00u-rook"' in page
    assert connect_(world.other_teacher, "far@school.example").status_code == 404
    assert connect_(world.student, "pip@school.example").status_code == 404
    assert signed_in(world.teacher).post(reverse("accounts:person-connect", args=[world.teacher.pk])).status_code == 404
    assert connect_(world.teacher, "").status_code == 302
    verbs = list(Event.objects.order_by("id").values_list("verb", flat=True))
    assert verbs == ["connect-service", "connect-service", "disconnect-service"]
    assert "quill" not in str(list(Event.objects.values_list("facts", flat=True)))


def test_what_cannot_be_is_refused_and_changes_nothing(world):
    connect(world.administrator, world.teacher, "quill@school.example")
    connect(world.administrator, world.technician, "00u-rook")
    for person, known_as in (
        (world.far_teacher, "QUILL@school.example"), (world.far_teacher, "00u-rook"), (world.far_teacher, "x" * 255),
        (world.far_teacher, "two\nlines"), (world.far_teacher, "  "),
        (world.teacher, "00u-rook"),
    ):  # fmt: skip
        with pytest.raises(NotPossible):
            connect(world.administrator, person, known_as)
    for actor, person in (
        (world.teacher, world.teacher), (world.administrator, world.student),
        (world.administrator, world.other_teacher),
    ):  # fmt: skip
        with pytest.raises(PermissionDenied):
            connect(actor, person, "a@school.example")
    assert set(ServiceAccount.objects.values_list("user__username", flat=True)) == {"teacher", "technician"}


def test_of_twenty_who_come_first_with_one_address_one_is_kept(at_once, world):
    connect(world.administrator, world.teacher, "quill@school.example")
    come = [lambda n=n: person_for(Claims(ISSUER, f"subject {n}", "quill@school.example")) for n in range(20)]
    found = at_once(*come)
    assert not [each for each in found if isinstance(each, Exception)], found
    assert sum(each is not None for each in found) == 1


def test_it_opens_staff_who_may_sign_in_and_nobody_else(world):
    ServiceAccount.objects.create(user=world.student, email="pip@school.example")
    ServiceAccount.objects.create(user=world.far_student, issuer=ISSUER, subject="ash")
    connect(world.administrator, world.teacher, "quill@school.example")
    people = User.objects.count()
    for claims in (
        Claims(ISSUER, "1", "pip@school.example"), Claims(ISSUER, "ash"), Claims(ISSUER, "2", "nobody@school.example"),
        Claims(ISSUER, "3"), Claims(ISSUER, ""),
    ):  # fmt: skip
        assert person_for(claims) is None
    assert person_for(Claims(ISSUER, "4", "quill@school.example")) == world.teacher
    assert person_for(Claims(ISSUER, "4")) == world.teacher
    assert person_for(Claims("https://another.example", "4")) is None
    User.objects.filter(pk=world.teacher.pk).update(is_active=False)
    assert person_for(Claims(ISSUER, "4")) is None
    assert User.objects.count() == people


def test_who_knows_no_password_turns_the_second_step_on_by_a_fresh_sign_in(world, signed_in):
    world.school.second_step_required = True
    world.school.save()
    client = signed_in(world.administrator)
    session = client.session
    session[BY_SERVICE] = True
    session.save()
    assert client.get("/people/")["Location"] == reverse("accounts:second-step")
    page = text_of(client.get(reverse("accounts:second-step")))
    assert 'name="password"' not in page
    key = re.search(r'<code class="break">(\w+)</code>', page)
    assert key
    code = {"code": pyotp.TOTP(key[1]).now()}
    fresh = session[SINCE]
    session[SINCE] = fresh - 301
    session.save()
    answer = client.post(reverse("accounts:second-step"), code)
    assert answer.status_code == 422
    assert "too long ago" in text_of(answer)
    session[SINCE] = fresh
    session.save()
    assert text_of(client.post(reverse("accounts:second-step"), code)).count("told-once") == 10
    assert client.get("/people/").status_code == 200


GOOD = {"ISSUER": "https://sign-in.example/school/", "CLIENT": "makerlab", "SECRET": "a secret of the service"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"ISSUER": "http://sign-in.example"}, "OIDC_ISSUER: the issuer's address is wanted, by https"),
        ({"ISSUER": "sign-in.example"}, "OIDC_ISSUER: the issuer's address is wanted, by https"),
        ({"ISSUER": "https://sign-in.example/?school=1"}, "without ? or #"),
        ({"ISSUER": ""}, "OIDC_SECRET: issuer, client and secret are set together"),
        ({"CLIENT": ""}, "OIDC_SECRET: issuer, client and secret are set together"),
        ({"SECRET": ""}, "OIDC_SECRET: issuer, client and secret are set together"),
        ({"NAME": "x" * 41}, "OIDC_NAME"),
    ],
)
def test_half_a_service_is_told(monkeypatch, change, told):
    for name, value in {**GOOD, **change}.items():
        monkeypatch.setenv(f"MAKERLAB_OIDC_{name}", value)
    with pytest.raises(ImproperlyConfigured) as raised:
        read_environment()
    assert told in str(raised.value)
    assert "a secret of the service" not in str(raised.value)


def test_a_whole_service_is_read(monkeypatch):
    for name, value in GOOD.items():
        monkeypatch.setenv(f"MAKERLAB_OIDC_{name}", value)
    made = read_environment()
    assert (made.oidc_issuer, made.oidc_client) == ("https://sign-in.example/school", "makerlab")
    assert made.oidc_secret is not None
    assert made.oidc_secret.get_secret_value() == GOOD["SECRET"]


def test_the_librarys_tables_are_of_no_newer_release():
    assert unknown({"account.0001_initial", "socialaccount.0001_initial"}) == []
    assert unknown({"accounts.9999_later"}) == ["accounts.9999_later"]
