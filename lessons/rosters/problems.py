"""What can be wrong with a class list, as codes with one plain sentence each."""

from __future__ import annotations

from dataclasses import dataclass

FOUND_MAX = 60  # characters of somebody's file that are repeated in a message


def _(sentence: str) -> str:
    """Marks a sentence for translation; whoever shows it translates ``Problem.sentence``."""
    return sentence


SENTENCES = {
    # the whole file is refused
    "empty": _("There is nothing in it. Nothing was saved."),
    "too_large": _("It is larger than %(found)s. Export the classes you teach only."),
    "too_many_rows": _("It has more than %(found)s rows. Export the classes you teach only."),
    "binary": _("This is not text. Save the list as CSV and choose that file."),
    "workbook": _("This is a workbook or another kind of package, not a CSV file. Save the list as CSV."),
    "encoding": _("Its letters cannot be read. Save it as CSV with UTF-8."),
    "quotes": _("A quotation mark is opened here and not closed as CSV wants it. Mend this row, or save as CSV anew."),
    "no_column": _("No column is named nickname. Write nickname above the names; a column team may stand beside it."),
    "zip_broken": _("This package is damaged or cut off. Export it again."),
    "zip_locked": _("This package is locked with a password. Export it without one."),
    "zip_unsafe": _("This package holds a file name that points outside of it (%(found)s). It was not opened."),
    "zip_bomb": _("This package unpacks to far more than a class list needs. It was not opened."),
    "zip_twice": _("This package holds %(found)s twice. Nobody can tell which one counts."),
    "no_file": _("The package has no %(found)s, which a class list needs."),
    "absent_file": _("The package's manifest says that %(found)s is not part of it, but a class list needs it."),
    "no_file_column": _("A column is missing that a class list needs: %(found)s."),
    "version": _("The package says it is OneRoster %(found)s. Versions 1.1 and 1.2 can be read."),
    "no_class": _("No class with a student in it is in this package."),
    # one row is left out
    "no_nickname": _("There is no nickname in this row."),
    "long_nickname": _("This nickname is longer than 40 letters: %(found)s"),
    "email": _("This looks like an e-mail address. Use a nickname."),
    "phone": _("This looks like a telephone number. Use a nickname."),
    "no_letter": _("A nickname needs a letter or a digit: %(found)s"),
    "twice": _("%(found)s is in the list already. A class has each nickname once: add a letter to one of them."),
    "id_twice": _("The key of this row is in the list already: %(found)s"),
    "taken": _("%(found)s is the nickname of somebody else in this class. Choose another one."),
    "no_id": _("This row has no sourcedId."),
    "status": _("The status of this row is neither active nor tobedeleted: %(found)s"),
    "no_status": _("In a package of changes every row needs a status; this one has none."),
    "unknown_class": _("This row names a class that is not in the package: %(found)s"),
    "unknown_user": _("This row names a person who is not in the package: %(found)s"),
    "not_student": _("This person is listed as a student of the class but is none by role: %(found)s"),
    "key_again": _("Another row of this file has the same key and other values: %(found)s. Of the two one counts."),
    "key_as_number": _(
        "A table program turned the key of this row into a rounded number (%(found)s). Export the package again and "
        "bring it in as it is."
    ),
    "short_row": _("This row has fewer columns than the head of the table."),
    # read, but otherwise than written
    "old_letters": _("It is not written in UTF-8; it was read as Western European. Look at letters with accents."),
    "ignored": _("Columns not read and not kept: %(found)s"),
    "head_case": _("Column heads not spelled as the standard spells them, read all the same: %(found)s"),
    "many_teams": _("Nearly everybody would have a team of their own. Is the word behind the comma a first name?"),
    "full_names": _("Some nicknames look like full names, for example %(found)s. A first name is enough here."),
    "separator": _("Its columns are not separated by commas, as the standard wants it; it was read all the same."),
    "not_there": _("The manifest names %(found)s, but the package does not hold it. It was read without."),
    "odd_dates": _("End dates that can be read in two ways or not at all, so they ended nothing: %(found)s"),
    "no_manifest": _("The package has no manifest.csv; it was read as OneRoster %(found)s."),
    "no_roles": _("The package has no roles.csv; who is a student was taken from enrollments.csv."),
    "changes_only": _("This package holds changes only. Nobody is counted as having left unless it says so."),
    "not_enabled": _("People not enabled in the school's system, left out: %(found)s"),
    "ended": _("Enrollments that are over, left out: %(found)s"),
    "classes_ended": _("Classes marked as to be deleted, left out: %(found)s"),
    "long_title": _("This class name is longer than 40 letters and was cut: %(found)s"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing about a list. ``row`` counts as a table program does (the head is row 1); 0: the file as a whole."""

    code: str
    row: int = 0
    found: str = ""
    file: str = ""

    def __post_init__(self) -> None:
        if self.code not in SENTENCES:
            raise ValueError(f"{self.code} has no sentence")
        if len(self.found) > FOUND_MAX:
            object.__setattr__(self, "found", self.found[: FOUND_MAX - 1] + "…")

    @property
    def sentence(self) -> str:
        """The sentence to translate, with %(found)s where what was found belongs."""
        return SENTENCES[self.code]

    @property
    def text(self) -> str:
        """The sentence in English."""
        return self.sentence.replace("%(found)s", self.found)


class RosterRefused(Exception):
    """The list as a whole cannot be read. ``problem`` says why."""

    def __init__(self, code: str, row: int = 0, found: str = "", file: str = "") -> None:
        self.problem = Problem(code, row, found, file)
        super().__init__(self.problem.text)
