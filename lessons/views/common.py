"""What the pages of a class share: finding it or 404, doing a verb and telling what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.functional import Promise

from lessons.actions.refusals import NotPossible
from lessons.models import Membership, SchoolClass
from makerlab.http import SignedInRequest, done
from makerlab.http import one as one


def own_class(request: SignedInRequest, pk: int) -> SchoolClass:
    """The class, if this person runs it; 404 otherwise."""
    found: SchoolClass = one(SchoolClass.objects.editable_by(request.user).select_related("school"), pk)
    return found


def own_student(request: SignedInRequest, pk: int) -> Membership:
    """A student of a class this person runs; 404 otherwise."""
    members = Membership.objects.editable_by(request.user).select_related("school_class__school", "user", "team")
    found: Membership = one(members, pk)
    return found


def do(request: SignedInRequest, verb: Callable[[], Any], said: str | Promise = "") -> bool:
    """Do a verb of a class and leave a message."""
    return done(request, verb, said, NotPossible)


def tried(form: forms.Form, verb: Callable[[], Any]) -> bool:
    """Do a verb with the values of a valid form; why it was not done stands at the field to mend."""
    try:
        verb()
    except PermissionDenied as error:
        raise Http404 from error
    except NotPossible as told:
        form.add_error(told.field if told.field in form.fields else None, str(told))
        return False
    return True
