"""Forms of a room, its hours, its printers and their kinds. Errors are said in place, with 422."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from lessons.models import DayKind
from meshcheck.settings import Machine
from planning.types import Area
from printing.form_fields import number
from printing.models import PrinterKind, Room
from printing.set_up.hours_text import HoursProblem, Span, read_hours, write_hours

PLAIN = {"autocomplete": "off", "spellcheck": "false"}
SPEED_LEAST, SPEED_MOST = 1.0, 1000.0  # mm/s
USUAL = Machine()


def unit_of(name: str) -> str:
    """The unit in a field's name, as it is written beside the field."""
    endings = {"_mm_s2": "mm/s²", "_mm_s": "mm/s", "_mm": "mm", "_min": "min", "_s": "s"}
    return next(unit for ending, unit in endings.items() if name.endswith(ending))


class RoomForm(forms.Form):
    """A room's name and minutes, and for each kind of day when somebody is there (``hours-<kind>``)."""

    name = forms.CharField(label=_("Name of the room"), max_length=60, widget=forms.TextInput(PLAIN))
    start_min = forms.IntegerField(
        label=_("Minutes for a start"), min_value=0, max_value=120,
        help_text=_("load the file, look at the first layer"),
    )  # fmt: skip
    swap_min = forms.IntegerField(
        label=_("Minutes to change a spool"), min_value=0, max_value=120, help_text=_("added to the start")
    )
    clear_min = forms.IntegerField(
        label=_("Minutes to clear a bed"), min_value=0, max_value=120, help_text=_("after it has cooled")
    )
    gap_mm = number(_("Gap between parts"), 0.5, 50, _("on a plate; room for a scraper"))
    frozen_min = forms.IntegerField(
        label=_("Minutes before a start that no plan moves it"), min_value=0, max_value=480,
        help_text=_("its file and spool are being got ready"),
    )  # fmt: skip

    def __init__(self, *args: Any, kinds: Sequence[DayKind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kinds = kinds
        for kind in kinds:
            self.fields[f"hours-{kind.pk}"] = forms.CharField(
                label=_("Somebody is there: %(kind)s") % {"kind": kind.name},
                required=False,
                widget=forms.Textarea({**PLAIN, "rows": 3}),
                help_text=_("One span a line: from, to, how many people can start and clear. Empty: nobody."),
            )

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or {}
        for kind in self.kinds:
            name = f"hours-{kind.pk}"
            try:
                values[name] = read_hours(values.get(name, ""))
            except HoursProblem as problem:
                self.add_error(name, str(problem))
        return values

    def values(self) -> dict[str, Any]:
        """What the room's own fields become."""
        own = ("name", "start_min", "swap_min", "clear_min", "gap_mm", "frozen_min")
        return {name: self.cleaned_data[name] for name in own}

    def hours(self) -> dict[DayKind, list[Span]]:
        return {kind: self.cleaned_data[f"hours-{kind.pk}"] for kind in self.kinds}

    def hours_fields(self) -> list[forms.BoundField]:
        return [self[f"hours-{kind.pk}"] for kind in self.kinds]


def room_initial(room: Room | None, kinds: Sequence[DayKind]) -> dict[str, Any]:
    """What the form starts from: the room as it is; for a new one, one person from the first bell to the last."""
    source = room or Room()
    values = {
        name: getattr(source, name) for name in ("name", "start_min", "swap_min", "clear_min", "gap_mm", "frozen_min")
    }
    noted: dict[int, list[Span]] = {}
    if room is not None:
        for row in room.hours.order_by("starts_at"):
            noted.setdefault(row.day_kind_id, []).append(Span(row.starts_at, row.ends_at, row.staff))
    for kind in kinds:
        periods = list(kind.periods.all())
        day = [Span(periods[0].starts_at, max(period.ends_at for period in periods), 1)] if periods else []
        values[f"hours-{kind.pk}"] = write_hours(noted.get(kind.pk, []) if room else day)
    return values


class UnattendedForm(forms.Form):
    """The school's written permission."""

    policy = forms.CharField(
        label=_("The school's written permission"), max_length=200, min_length=8, widget=forms.TextInput(PLAIN),
        help_text=_("its title and date, so that anybody can ask for it"),
    )  # fmt: skip


class KindForm(forms.Form):
    """A kind of printer: its bed, and the speeds that differ from a small school printer's."""

    name = forms.CharField(
        label=_("Name of the kind"),
        max_length=60,
        widget=forms.TextInput(PLAIN),
        help_text=_("as your room calls them"),
    )
    bed = forms.ChoiceField(label=_("Bed"), choices=PrinterKind.Bed.choices)
    width_mm = number(_("Bed width"), 40, 1000, _("or the diameter of a round bed"))
    depth_mm = number(_("Bed depth"), 40, 1000, _("empty for a round bed"), required=False)
    height_mm = number(_("Height above the bed"), 20, 1000)
    margin_mm = number(_("Margin kept free"), 0, 50, _("all round the bed"))
    nozzle_mm = number(_("Nozzle"), 0.1, 2.0)

    wall_mm_s = number(_("Outer wall"), SPEED_LEAST, SPEED_MOST, required=False)
    inner_wall_mm_s = number(_("Inner walls"), SPEED_LEAST, SPEED_MOST, required=False)
    infill_mm_s = number(_("Infill"), SPEED_LEAST, SPEED_MOST, required=False)
    skin_mm_s = number(_("Top and bottom skins"), SPEED_LEAST, SPEED_MOST, required=False)
    support_mm_s = number(_("Support"), SPEED_LEAST, SPEED_MOST, required=False)
    first_layer_mm_s = number(_("First layer"), SPEED_LEAST, SPEED_MOST, required=False)
    travel_mm_s = number(_("Travel"), SPEED_LEAST, SPEED_MOST, required=False)
    acceleration_mm_s2 = number(_("Acceleration"), 50, 50000, required=False)
    layer_minimum_s = number(_("Shortest layer"), 0, 120, required=False)
    heat_up_s = number(_("Heating up"), 0, 3600, required=False)
    cool_down_s = number(_("Cooling until a part may be taken off"), 60, 7200, required=False)

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or {}
        width, depth, margin = (values.get(name) for name in ("width_mm", "depth_mm", "margin_mm"))
        if values.get("bed") == PrinterKind.Bed.ROUND:
            values["depth_mm"] = depth = width
        elif depth is None and "depth_mm" not in self.errors:
            self.add_error("depth_mm", _("Say how deep the bed is."))
        if None not in (width, depth, margin) and min(width or 0, depth or 0) - 2 * (margin or 0) < 20:
            self.add_error("margin_mm", ValidationError(_("So wide a margin leaves less than 20 mm of the bed.")))
        return values

    def values(self) -> dict[str, Any]:
        own = ("name", "bed", "width_mm", "depth_mm", "height_mm", "margin_mm", "nozzle_mm")
        return {name: self.cleaned_data[name] for name in own}

    def machine(self, before: dict[str, float]) -> dict[str, float]:
        """The figures that differ from the usual ones; what this form does not ask stays as it was before."""
        asked = {name: self.cleaned_data.get(name) for name in MACHINE_FIELDS}
        kept = {name: value for name, value in before.items() if name not in asked}
        given = {name: float(value) for name, value in asked.items() if value is not None}
        return {**kept, **{name: value for name, value in given.items() if value != getattr(USUAL, name)}}

    def machine_fields(self) -> list[tuple[forms.BoundField, str]]:
        """Each with its unit."""
        return [(self[name], unit_of(name)) for name in MACHINE_FIELDS]


MACHINE_FIELDS = tuple(field.name for field in fields(Machine) if field.name in KindForm.base_fields)
for _name in MACHINE_FIELDS:
    KindForm.base_fields[_name].widget.attrs["placeholder"] = f"{getattr(USUAL, _name):g}"


def kind_initial(kind: PrinterKind | None) -> dict[str, Any]:
    """The kind as it is; for a new one a common small school printer (common practice, no source)."""
    if kind is None:
        usual = {"bed": PrinterKind.Bed.RECTANGULAR, "width_mm": 220, "depth_mm": 220, "height_mm": 220}
        return {**usual, "margin_mm": 5, "nozzle_mm": 0.4}
    own = ("name", "bed", "width_mm", "depth_mm", "height_mm", "margin_mm", "nozzle_mm")
    return {**{name: getattr(kind, name) for name in own}, **kind.machine}


class AreaForm(forms.Form):
    """An area of a bed that is to stay free; whether it can be is said by the verb."""

    x_mm = number(_("From the left"), 0, 2000, _("to its left edge"))
    y_mm = number(_("From the front"), 0, 2000, _("to its front edge"))
    width_mm = number(_("Width"), 1, 2000, _("left to right"))
    depth_mm = number(_("Depth"), 1, 2000, _("front to back"))
    words = forms.CharField(
        label=_("What is there"), max_length=40, required=False, widget=forms.TextInput({"autocomplete": "off"}),
        help_text=_("may stay empty: clip, screw, worn spot"),
    )  # fmt: skip

    def area(self) -> Area:
        values = self.cleaned_data
        return Area(values["x_mm"], values["y_mm"], values["width_mm"], values["depth_mm"])


class PrinterForm(forms.Form):
    """A printer's name and kind."""

    name = forms.CharField(
        label=_("Name of the printer"), max_length=40, widget=forms.TextInput(PLAIN),
        help_text=_("write it on the printer too: the bench and the plan call it so"),
    )  # fmt: skip
    kind = forms.ModelChoiceField(label=_("Kind"), queryset=PrinterKind.objects.none(), empty_label=None)

    def __init__(self, *args: Any, kinds: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["kind"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = kinds
