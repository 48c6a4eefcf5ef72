"""What students and teachers fill in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from submissions.actions import NOTE_MAX, REVIEW_NOTE_MAX


class HandInForm(forms.Form):
    """Why a part with must-fix findings should be printed all the same; empty for other parts."""

    note = forms.CharField(
        label=_("Why should it be printed all the same?"),
        required=False,
        max_length=NOTE_MAX,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Your teacher reads this with the part."),
    )


class ReturnForm(forms.Form):
    """The teacher's note. Ready sentences that were ticked are put before what was written."""

    sentences = forms.MultipleChoiceField(
        label=_("Ready sentences"), required=False, widget=forms.CheckboxSelectMultiple
    )
    note = forms.CharField(
        label=_("Your note to the team"),
        required=False,
        max_length=REVIEW_NOTE_MAX,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("Ready sentences can be changed before you send."),
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, sentences: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = self.fields["sentences"]
        assert isinstance(choices, forms.MultipleChoiceField)
        choices.choices = [(str(place), sentence) for place, sentence in enumerate(sentences)]
        self.ready = list(sentences)

    def whole_note(self) -> str:
        """Ticked sentences that the note does not hold yet, then the note."""
        written = str(self.cleaned_data["note"]).strip()
        ticked = [self.ready[int(place)] for place in self.cleaned_data["sentences"]]
        return "\n".join([*(sentence for sentence in ticked if sentence not in written), written]).strip()
