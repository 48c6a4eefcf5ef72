"""Forms with which staff steer the plan. Errors are said in place, with 422."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from printing.models import Plate, Printer
from printing.states import PlateState

MOMENT = "%Y-%m-%dT%H:%M"


class PinForm(forms.Form):
    """What to fix about a plate: its printer, the start of its set-up, the plate it comes after."""

    printer = forms.ModelChoiceField(
        label=_("Printer"), queryset=Printer.objects.none(), required=False, empty_label=_("any printer")
    )
    setup_at = forms.DateTimeField(
        label=_("Set up at"),
        required=False,
        help_text=_("Leave empty for any time."),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MOMENT),
    )
    after = forms.ModelChoiceField(
        label=_("Not before"),
        queryset=Plate.objects.none(),
        required=False,
        empty_label=_("any order"),
        help_text=_("It is set up after that plate was set up."),
    )

    def __init__(
        self, *args: Any, plate: Plate, known: Mapping[str, list[tuple[int, str]]] | None = None, **kwargs: Any
    ) -> None:
        """``known``: what may be chosen in each field, key and name, where the caller has read it."""
        super().__init__(*args, **{"auto_id": "pin_%s", **kwargs})
        printers = Printer.objects.filter(room=plate.room_id)
        others = Plate.objects.filter(room=plate.room_id, state=PlateState.PLANNED).exclude(pk=plate.pk)
        for name, rows in (("printer", printers), ("after", others)):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows
            if known is not None:
                field.choices = [("", str(field.empty_label)), *known[name]]
        self.initial.setdefault("printer", plate.pin_printer_id)
        self.initial.setdefault("setup_at", plate.pin_setup_at)
        self.initial.setdefault("after", plate.pin_after_id)


class ExtraHoursForm(forms.Form):
    """Somebody is there on one date beyond the usual hours."""

    date = forms.DateField(label=_("Date"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    starts_at = forms.TimeField(label=_("From"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    ends_at = forms.TimeField(label=_("Until"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    staff = forms.IntegerField(label=_("People who start and clear"), min_value=1, max_value=9, initial=1)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "hours_%s", **kwargs})
