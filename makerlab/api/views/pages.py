"""The page where staff make and revoke their tokens, and administrators look after the school's."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from makerlab.accounts.people import NotPossible
from makerlab.api import actions, permissions
from makerlab.api.actions import DAYS, NAME_MAX
from makerlab.api.models import ApiToken
from makerlab.api.scopes import Scope, scopes_for
from makerlab.http import SignedInRequest, done, one

PAGE = "access/tokens.html"
SHOWN_MOST = 200


class TokenForm(forms.Form):
    """What a new token is called, may do, and how long."""

    name = forms.CharField(
        label=gettext_lazy("What uses it"),
        max_length=NAME_MAX,
        help_text=gettext_lazy("Such as: report of the printers in room 12."),
        widget=forms.TextInput({"autocomplete": "off"}),
    )
    scopes = forms.MultipleChoiceField(label=gettext_lazy("What it may do"), widget=forms.CheckboxSelectMultiple)
    days = forms.TypedChoiceField(
        label=gettext_lazy("Valid for"),
        coerce=int,
        initial=DAYS[1],
    )

    def __init__(self, *args: Any, scopes: list[Scope], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ticks, spans = self.fields["scopes"], self.fields["days"]
        assert isinstance(ticks, forms.MultipleChoiceField)
        assert isinstance(spans, forms.TypedChoiceField)
        ticks.choices = [(scope.value, scope.label) for scope in scopes]
        spans.choices = [(days, _("%(days)d days") % {"days": days}) for days in DAYS]


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def token_list(request: SignedInRequest) -> HttpResponse:
    """One's own tokens, an administrator's those of the school, and a form for one more. A new one is shown once."""
    if not permissions.can_have_tokens(request.user):
        raise Http404
    form = TokenForm(request.POST if request.method == "POST" else None, scopes=scopes_for(request.user))
    shown = None
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            shown = actions.make_token(request.user, values["name"], values["scopes"], values["days"])
        except NotPossible as told:
            form.add_error(told.field, str(told))
        else:
            form = TokenForm(scopes=scopes_for(request.user))
    now = timezone.now()
    tokens = ApiToken.objects.visible_to(request.user).select_related("owner")
    context = {
        "form": form,
        "shown": shown,
        "tokens": list(tokens.in_force(now)[:SHOWN_MOST]),
        "over": list(tokens.exclude(pk__in=tokens.in_force(now).values("pk"))[:20]),
        "labels": dict(Scope.choices),
    }
    return render(request, PAGE, context, status=422 if form.errors else 200)


@require_POST
def token_revoke(request: SignedInRequest, pk: int) -> HttpResponse:
    """The token opens nothing any more."""
    token: ApiToken = one(ApiToken.objects.editable_by(request.user), pk)
    done(request, lambda: actions.revoke_token(request.user, token), _("The token is revoked."), NotPossible)
    return redirect("access:token-list")
