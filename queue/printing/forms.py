"""Forms of the bench, the spools and the queue. Errors are said in place, with 422."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from meshcheck.materials import MATERIALS
from printing.learning import Seen
from printing.models import Plate, Printer, Spool
from printing.states import FailureReason

CAUSES = [choice for choice in FailureReason.choices if choice[0] != FailureReason.STOPPED]


class StartForm(forms.Form):
    """The checks that matter before a start, each ticked by hand."""

    printer = forms.ModelChoiceField(label=_("Printer"), queryset=Printer.objects.none(), empty_label=None)
    right_spool = forms.BooleanField(label=_("The right spool is loaded"), required=False)
    bed_clear = forms.BooleanField(label=_("The bed is clear"), required=False)
    file_loaded = forms.BooleanField(label=_("The file of this plate is on the printer"), required=False)
    staying = forms.BooleanField(
        label=_("An adult stays in the room until it has ended and the bed is cool"), required=False
    )

    short_spool = forms.BooleanField(
        label=_("I know that the spool may not last, and stand by to change it"), required=False
    )

    def __init__(self, *args: Any, plate: Plate, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        printers = Printer.objects.filter(room=plate.room_id, pk__in=[int(key) for key in plate.durations_s])
        field = self.fields["printer"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = printers.select_related("kind", "room")
        self.initial.setdefault("printer", plate.printer_id)


class ClearForm(forms.Form):
    """How the run went. ``cool`` must be ticked before anything is taken off the bed. ``ended`` is when the printer
    itself stopped; nobody has to know, and nothing is guessed."""

    GOOD, PARTLY, FAILED, STOPPED = "good", "partly", "failed", "stopped"
    UNSEEN, JUST_NOW, THEN = "unseen", "now", "then"

    how = forms.ChoiceField(
        choices=[(GOOD, _("All good")), (PARTLY, _("Some lost")), (FAILED, _("All failed")), (STOPPED, _("Stopped"))]
    )
    cool = forms.BooleanField(label=_("Nozzle and bed are cool: I have looked"), required=False)
    lost = forms.MultipleChoiceField(label=_("Lost"), required=False)
    reason = forms.ChoiceField(label=_("What went wrong?"), choices=CAUSES, required=False, widget=forms.RadioSelect)

    ended = forms.ChoiceField(
        label=_("When did the printer itself stop?"),
        choices=[(UNSEEN, _("Nobody saw it")), (JUST_NOW, _("It just stopped")), (THEN, _("At"))],
        initial=UNSEEN,
        required=False,
        widget=forms.RadioSelect,
    )
    ended_at = forms.DateTimeField(
        label=_("Time it stopped"), required=False, widget=forms.DateTimeInput(attrs={"type": "datetime-local"})
    )
    weighed_g = forms.FloatField(
        label=_("All that came off the bed weighs"), min_value=0.1, max_value=10_000, required=False
    )

    def __init__(self, *args: Any, copy_ids: list[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lost = self.fields["lost"]
        assert isinstance(lost, forms.MultipleChoiceField)
        lost.choices = [(str(pk), str(pk)) for pk in copy_ids]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        how = values.get("how")
        if how in {self.GOOD, self.PARTLY} and not values.get("cool"):
            self.add_error(
                "cool", _("First look: the printer shows the temperatures. Wait until nozzle and bed are cool.")
            )
        if how == self.PARTLY and not values.get("lost"):
            self.add_error("lost", _("Tick each copy that was lost, or choose All good."))
        if how in {self.PARTLY, self.FAILED} and not values.get("reason"):
            self.add_error("reason", _("Say what went wrong: it shows which printer needs care."))
        if values.get("ended") == self.THEN and not values.get("ended_at") and "ended_at" not in self.errors:
            self.add_error("ended_at", _("Say when, or choose that nobody saw it."))
        return values

    def seen(self, now: datetime) -> Seen:
        """What somebody saw, from a valid form."""
        values = self.cleaned_data
        return Seen(now if values["ended"] == self.JUST_NOW else values["ended_at"], values["weighed_g"])


class OutageForm(forms.Form):
    """A printer out of service, and until when if that is known."""

    reason = forms.CharField(label=_("Why"), max_length=120)
    until = forms.DateTimeField(
        label=_("Until"),
        required=False,
        help_text=_("Leave empty when nobody knows."),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
    )


class WeighForm(forms.Form):
    """Spool and filament on the scale together."""

    gross_g = forms.FloatField(label=_("Spool and filament weigh"), min_value=0, max_value=10_000)


class LoadForm(forms.Form):
    """Which printer the spool goes on."""

    printer = forms.ModelChoiceField(label=_("Put it on"), queryset=Printer.objects.none(), empty_label=None)

    def __init__(
        self, *args: Any, spool: Spool, choices: Sequence[tuple[int, str]] | None = None, **kwargs: Any
    ) -> None:
        """``choices``: the room's printers, where they were read already."""
        super().__init__(*args, **kwargs)
        field = self.fields["printer"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Printer.objects.filter(room=spool.room_id).exclude(pk=spool.printer_id)
        if choices is not None:
            field.choices = [(pk, name) for pk, name in choices if pk != spool.printer_id]


class OfASpool(forms.Form):
    """What is known of a spool itself; every part may be left empty."""

    maker = forms.CharField(
        label=_("Maker and kind of spool"),
        max_length=40,
        required=False,
        help_text=_("As you tell empty ones apart: spools of one name weigh the same empty."),
    )
    tare_g = forms.FloatField(
        label=_("Empty spool weighs"),
        min_value=1,
        max_value=2000,
        required=False,
        help_text=_("From its label or an empty one on the scale. Left empty, the room's own weighing counts."),
    )
    price_per_kg = forms.DecimalField(
        label=_("Price of a kilogram"), min_value=0, max_value=9999, decimal_places=2, required=False
    )

    def clean_maker(self) -> str:
        return " ".join(self.cleaned_data["maker"].split())


class SpoolForm(OfASpool):
    """A new spool on the shelf."""

    material = forms.ChoiceField(label=_("Material"), choices=[(code, code) for code in MATERIALS])
    colour = forms.CharField(label=_("Colour"), max_length=24)
    grams_full = forms.FloatField(label=_("Filament on it"), min_value=50, max_value=5000, initial=750)


class EmptyForm(forms.Form):
    """An empty spool on the scale."""

    maker = forms.CharField(label=_("Maker and kind of spool"), max_length=40)
    grams_full = forms.FloatField(label=_("Held when new"), min_value=50, max_value=5000)
    tare_g = forms.FloatField(label=_("Weighs empty"), min_value=1, max_value=2000)

    def clean_maker(self) -> str:
        return " ".join(self.cleaned_data["maker"].split())
