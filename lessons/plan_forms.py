"""Forms of lesson plans and kits that are no rows. Errors are said in place, with 422."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from lessons.models import KitPart
from lessons.plans.kit import GAUGE_FIELDS, OWN
from lessons.settings_form import Decimal
from meshcheck.materials import MATERIALS

PLAIN = {"autocomplete": "off"}


class TitleForm(forms.Form):
    """The name of a lesson."""

    title = forms.CharField(label=_("Name of the lesson"), max_length=120, widget=forms.TextInput(PLAIN))


class NewPartForm(forms.Form):
    """A part of a kit: its name and its mesh."""

    name = forms.CharField(label=_("Name of the part"), max_length=60, widget=forms.TextInput(PLAIN))
    file = forms.FileField(label=_("File, STL, 3MF or OBJ"), max_length=255, allow_empty_file=True)


class MeshForm(forms.Form):
    """Another mesh for a part."""

    file = forms.FileField(label=_("File, STL, 3MF or OBJ"), max_length=255, allow_empty_file=True)


class PartForm(forms.Form):
    """The figures of a kit part."""

    name = forms.CharField(label=_("Name"), max_length=60, widget=forms.TextInput(PLAIN))
    copies_per_team = forms.IntegerField(label=_("Copies for a team"), min_value=0, max_value=100)
    spares = forms.IntegerField(label=_("Spares for the class"), min_value=0, max_value=200)
    material = forms.ChoiceField(label=_("Material"), choices=[(code, code) for code in MATERIALS])
    colour = forms.CharField(label=_("Colour"), max_length=24, widget=forms.TextInput(PLAIN))
    redesignable = forms.BooleanField(label=_("Teams redesign it"), required=False)
    task = forms.CharField(
        label=_("What teams are asked to make"),
        required=False,
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("only for a part that is redesigned"),
    )

    def __init__(self, *args: Any, part: KitPart, **kwargs: Any) -> None:
        kwargs["initial"] = {name: getattr(part, name) for name in OWN}
        super().__init__(*args, **kwargs)
        material = self.fields["material"]
        assert isinstance(material, forms.ChoiceField)
        if part.material not in MATERIALS:  # of an older kit: stays unless somebody chooses another
            material.choices = [(part.material, part.material), *((code, code) for code in MATERIALS)]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        if values.get("redesignable") and not values.get("task", "").strip():
            self.add_error("task", _("Say what teams are asked to make."))
        return values


class GaugeForm(forms.Form):
    """What a redesigned part must keep; an empty field asks nothing. Lengths in mm."""

    hole_diameter_mm = Decimal(label=_("Hole, diameter"), required=False, min_value=0.3, max_value=200)
    hole_plus_mm = Decimal(label=_("Wider by at most"), min_value=0, max_value=10)
    hole_minus_mm = Decimal(label=_("Narrower by at most"), min_value=0, max_value=10)
    hole_depth_mm = Decimal(label=_("Hole, depth"), required=False, min_value=0.2, max_value=500)
    hole_depth_tolerance_mm = Decimal(label=_("Depth off by at most"), min_value=0, max_value=50)
    through = forms.TypedChoiceField(
        label=_("Hole goes"),
        required=False,
        choices=[("", _("either way")), ("yes", _("right through")), ("no", _("closed at one end"))],
        coerce=lambda text: text == "yes",
        empty_value=None,
    )
    eccentricity_max_mm = Decimal(
        label=_("Off the middle of the rim by at most"), required=False, min_value=0, max_value=50
    )
    size_x_mm = Decimal(label=_("Width at most"), required=False, min_value=1, max_value=1000)
    size_y_mm = Decimal(label=_("Depth at most"), required=False, min_value=1, max_value=1000)
    size_z_mm = Decimal(label=_("Height at most"), required=False, min_value=1, max_value=1000)
    hub_diameter_mm = Decimal(label=_("Hub around the hole, diameter"), required=False, min_value=0.5, max_value=500)

    def __init__(self, *args: Any, values: dict[str, Any], **kwargs: Any) -> None:
        shown = {name: values.get(name) for name in GAUGE_FIELDS}
        shown["through"] = {True: "yes", False: "no", None: ""}[shown["through"]]
        plain = {name: f"{value:g}" if isinstance(value, float) else value for name, value in shown.items()}
        kwargs["initial"] = plain
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if name != "through":
                field.widget = forms.TextInput({**PLAIN, "inputmode": "decimal"})

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        sizes = ("size_x_mm", "size_y_mm", "size_z_mm")
        given = [name for name in sizes if values.get(name) is not None]
        if given and len(given) < 3 and not any(name in self.errors for name in sizes):
            missing = next(name for name in sizes if name not in given)
            self.add_error(missing, _("Give all three sizes of the box, or none."))
        hub, hole = values.get("hub_diameter_mm"), values.get("hole_diameter_mm")
        if hub is not None and hole is not None and hub <= hole:
            self.add_error("hub_diameter_mm", _("The hub must be wider than its hole."))
        return values
