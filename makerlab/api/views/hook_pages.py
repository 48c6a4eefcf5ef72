"""The page where administrators say which addresses outside are told of what, and see how that went."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Prefetch
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from makerlab.accounts.people import NotPossible
from makerlab.api import permissions, webhooks
from makerlab.api.models import Delivery, Happening, Webhook
from makerlab.api.sending import ADDRESS_MAX
from makerlab.http import SignedInRequest, done, one

PAGE = "access/webhooks.html"
SHOWN = 10  # deliveries of each address


class WebhookForm(forms.Form):
    """Where, and of what."""

    address = forms.CharField(
        label=gettext_lazy("Address"),
        max_length=ADDRESS_MAX,
        widget=forms.TextInput(
            {"inputmode": "url", "autocomplete": "off", "spellcheck": "false", "placeholder": "https://"}
        ),
    )
    happenings = forms.MultipleChoiceField(
        label=gettext_lazy("What it is told of"), widget=forms.CheckboxSelectMultiple, choices=Happening.choices
    )


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def webhook_list(request: SignedInRequest) -> HttpResponse:
    """The addresses with their last deliveries, and a form for one more. A secret is shown once."""
    if not permissions.can_have_webhooks(request.user):
        raise Http404
    form = WebhookForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            made = webhooks.add_webhook(request.user, values["address"], values["happenings"])
        except NotPossible as told:
            form.add_error(told.field, str(told))
        else:
            return _page(request, WebhookForm(), made)
    return _page(request, form)


def _page(request: SignedInRequest, form: WebhookForm, shown: Webhook | None = None) -> HttpResponse:
    last = Prefetch("deliveries", Delivery.objects.visible_to(request.user).order_by("-id")[:SHOWN], to_attr="last")
    hooks = Webhook.objects.visible_to(request.user).prefetch_related(last)
    labels = dict(Happening.choices)
    context: dict[str, Any] = {
        "form": form,
        "shown": shown,
        "hooks": [(hook, [labels[each] for each in hook.happenings if each in labels]) for hook in hooks],
    }
    return render(request, PAGE, context, status=422 if form.errors else 200)


@never_cache
@require_POST
def webhook_secret(request: SignedInRequest, pk: int) -> HttpResponse:
    """A new secret, shown once."""
    hook: Webhook = one(Webhook.objects.editable_by(request.user), pk)
    return _page(request, WebhookForm(), webhooks.change_secret(request.user, hook))


@require_POST
def webhook_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """The address is told nothing more."""
    hook: Webhook = one(Webhook.objects.editable_by(request.user), pk)
    verb = lambda: webhooks.remove_webhook(request.user, hook)  # noqa: E731
    done(request, verb, _("The address is told nothing more."), NotPossible)
    return redirect("access:webhook-list")
