"""Every finding that asks for something has a word for the teacher, and no word is left without a finding."""

from meshcheck.catalogue import ENTRIES
from meshcheck.for_teachers import FOR_TEACHERS
from meshcheck.types import Level


def test_every_finding_that_asks_for_something_has_its_word():
    asking = {code for code, entry in ENTRIES.items() if entry.level is not Level.PASSES}
    assert set(FOR_TEACHERS) == asking
    assert all(text.endswith((".", "?")) for text in FOR_TEACHERS.values())
