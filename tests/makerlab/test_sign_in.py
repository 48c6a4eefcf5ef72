"""Staff sign in and out; the demo's one click; the next page stays on this site."""

import time

import pytest
from django.test import Client

from makerlab.accounts.middleware import SINCE
from makerlab.audit.models import Event
from tests.world import PASSWORD

pytestmark = pytest.mark.django_db


def post(client: Client, **values: str):
    return client.post("/sign-in/", {"username": "teacher", "password": PASSWORD, **values})


@pytest.mark.parametrize("name", ["teacher", "TEACHER", "technician", "administrator"])
def test_staff_sign_in_by_name_and_password(world, client, name):
    response = post(client, username=name)
    assert (response.status_code, response["Location"]) == (302, "/")
    assert client.session["_auth_user_id"] == str(getattr(world, name.lower()).pk)
    assert Event.objects.get().verb == "signed-in"


@pytest.mark.parametrize(
    "values",
    [{"password": "wrong"}, {"username": "nobody"}, {"username": ""}, {"password": ""}, {"username": "Pip"}],
    ids=["wrong password", "unknown name", "no name", "no password", "a student"],
)
def test_wrong_sign_in_answers_422_and_signs_nobody_in(world, client, values):
    response = post(client, **values)
    assert response.status_code == 422
    assert "_auth_user_id" not in client.session
    assert Event.objects.count() == 0


def test_unknown_name_and_wrong_password_read_the_same(world, client):
    pages = [post(client, username=name, password="wrong").content.decode() for name in ("teacher", "nobody")]
    message = "The user name or the password is not right."
    assert all(message in page for page in pages)


def test_inactive_staff_cannot_sign_in(world, client):
    world.teacher.is_active = False
    world.teacher.save()
    assert post(client).status_code == 422


@pytest.mark.parametrize(
    ("wanted", "goes_to"),
    [
        ("/lessons/", "/lessons/"),
        ("/review/?class=1", "/review/?class=1"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("/\\elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
        ("http:///elsewhere.example", "/"),
        ("", "/"),
    ],
)
def test_next_never_leaves_the_site(world, client, wanted, goes_to):
    assert post(client, next=wanted)["Location"] == goes_to
    # and neither for somebody who is signed in already
    assert client.get("/sign-in/", {"next": wanted})["Location"] == goes_to


def test_login_is_required_and_comes_back(world, client):
    response = client.get("/lessons/")
    assert response["Location"] == "/sign-in/?next=/lessons/"
    page = client.get(response["Location"]).content.decode()
    assert 'name="next" value="/lessons/"' in page


def test_session_key_changes_at_sign_in(world, client):
    client.get("/sign-in/")
    session = client.session
    session["seen"] = 1
    session.save()
    before = session.session_key
    post(client)
    assert client.session.session_key != before


@pytest.mark.parametrize(
    ("who", "lands_on"), [("teacher", "/sign-in/"), ("technician", "/sign-in/"), ("student", "/sign-in/student/")]
)
def test_sign_out_ends_the_session_and_leads_back(world, signed_in, who, lands_on):
    client = signed_in(getattr(world, who))
    assert client.get("/sign-out/").status_code == 405
    response = client.post("/sign-out/")
    assert response["Location"] == lands_on
    assert "_auth_user_id" not in client.session
    assert client.get("/lessons/")["Location"].startswith("/sign-in/")


def test_after_sign_out_the_next_person_is_told_and_nothing_is_kept(world, signed_in):
    client = signed_in(world.student)
    page = client.get("/lessons/", follow=True)
    assert page["Cache-Control"] == "private, no-store"
    page = client.post("/sign-out/", follow=True).content.decode()
    assert page.count("You are signed out.") == 1
    assert "Pip" not in page


def test_a_fragment_whose_session_ended_reloads_the_page(world, client):
    response = client.get("/lessons/", headers={"hx-request": "true"}, follow=True)
    assert response["HX-Refresh"] == "true"
    assert response.content == b""


def test_sign_out_needs_the_token(world):
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.teacher)
    assert client.post("/sign-out/").status_code == 403
    assert "_auth_user_id" in client.session


@pytest.mark.parametrize("role", ["student", "teacher", "technician", "administrator"])
def test_demo_signs_in_by_one_click(world, client, settings, role):
    settings.DEMO = True
    assert f'action="/sign-in/demo/{role}/"' in client.get("/sign-in/").content.decode()
    response = client.post(f"/sign-in/demo/{role}/", {"next": "https://elsewhere.example/"})
    assert response["Location"] == "/"
    assert client.session["_auth_user_id"] == str(getattr(world, role).pk)
    assert Event.objects.get().facts == {"demo": True}


@pytest.mark.parametrize("role", ["student", "teacher", "technician", "administrator"])
def test_without_demo_there_is_no_one_click(world, client, settings, role):
    settings.DEMO = False
    assert "/sign-in/demo/" not in client.get("/sign-in/").content.decode()
    assert client.post(f"/sign-in/demo/{role}/").status_code == 404
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(("method", "role", "status"), [("get", "teacher", 405), ("post", "head", 404)])
def test_demo_refuses_other_ways(world, client, settings, method, role, status):
    settings.DEMO = True
    assert getattr(client, method)(f"/sign-in/demo/{role}/").status_code == status
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(("who", "hours"), [("student", 2), ("teacher", 10)])
def test_a_session_ends_after_its_hours_however_much_it_is_used(world, signed_in, who, hours):
    client = signed_in(getattr(world, who))
    for age_s, is_in in ((hours * 3600 - 60, True), (hours * 3600 + 60, False)):
        session = client.session
        session[SINCE] = time.time() - age_s
        session.save()
        page = client.get("/styleguide/" if who == "teacher" else "/parts/")
        assert (page.status_code == 200) == is_in
    assert page["Location"].startswith("/sign-in/")
    assert "_auth_user_id" not in client.session
