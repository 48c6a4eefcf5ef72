"""The forms of prepared files."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from meshcheck.gcode.dialect import DIALECTS
from printing.models import Plate, Printer, PrinterKind

USUAL = "printer-ms"
DIALECT_WORDS = {
    "printer-ms": (
        _("Printer words, waiting in milliseconds"),
        _("The most usual: E feeds filament, G4 P500 waits half a second, G0 moves at the last F."),
    ),
    "printer-s": (_("Printer words, waiting in seconds"), _("As the first, but G4 P2 waits two seconds.")),
    "printer-rapid": (
        _("Printer words, G0 at travel speed"),
        _("As the first, but G0 moves as fast as the printer travels, whatever F said."),
    ),
    "printer-own-e": (
        _("Printer words, E counted by itself"),
        _("As the first, but G90 and G91 leave alone how E counts; only M82 and M83 say it."),
    ),
    "rs274": (
        _("RS-274 without printer words"),
        _("As NISTIR 6556 describes it. There is no word for filament in it, so grams cannot be told."),
    ),
}


class PreparedForm(forms.Form):
    """A file for a plate, the kind of printer it was prepared for, and how its words are read."""

    kind = forms.ModelChoiceField(
        label=_("Prepared for"), queryset=PrinterKind.objects.none(), empty_label=None, widget=forms.RadioSelect
    )
    dialect = forms.ChoiceField(
        label=_("How its words are read"),
        choices=[(key, DIALECT_WORDS[key][0]) for key in DIALECTS],
        initial=USUAL,
        widget=forms.RadioSelect,
    )
    file = forms.FileField(
        label=_("The file"),
        allow_empty_file=True,  # said with the other sizes
        widget=forms.FileInput(attrs={"accept": ".gcode,.gco,.g,.nc,.ngc,.txt"}),
        error_messages={"required": _("Choose the file first.")},
    )

    def __init__(self, *args: Any, plate: Plate, printers: Iterable[Printer] | None = None, **kwargs: Any) -> None:
        """``printers``: of the room, with their kinds, where the caller has read them."""
        super().__init__(*args, **{"auto_id": "prepared_%s", **kwargs})
        able = Printer.objects.filter(room=plate.room_id, pk__in=[int(key) for key in plate.durations_s])
        field = self.fields["kind"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = PrinterKind.objects.filter(pk__in=able.values("kind"))
        known = able.select_related("kind") if printers is None else printers
        self.able = [printer for printer in known if str(printer.pk) in plate.durations_s]
        first = plate.printer.kind_id if plate.printer else next((each.kind_id for each in self.able), None)
        self.initial.setdefault("kind", first)

    def dialects(self) -> list[dict[str, Any]]:
        """Each reading with the words that explain it."""
        chosen = self["dialect"].value()
        return [
            {"key": key, "title": DIALECT_WORDS[key][0], "about": DIALECT_WORDS[key][1], "chosen": key == chosen}
            for key in DIALECTS
        ]

    def kinds(self) -> list[dict[str, Any]]:
        """Each kind of printer that can print the plate."""
        chosen = str(self["kind"].value())
        kinds = {printer.kind_id: printer.kind for printer in self.able}
        return [{"kind": kinds[key], "chosen": str(key) == chosen} for key in sorted(kinds)]
