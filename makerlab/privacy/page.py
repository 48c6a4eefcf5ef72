"""The page docs/privacy.md."""

from __future__ import annotations

from pathlib import Path

from makerlab.privacy.datamap import PERSONAL

PAGE = Path(__file__).resolve().parents[2] / "docs" / "privacy.md"
HEAD = """# Privacy

Generated from `makerlab/privacy` by `python manage.py write_docs`; do not edit.

For the school's data protection officer and the district's counsel. This page says what the software does. It is
not legal advice: what the law asks of a school, and whether this meets it, is for the district's counsel to say.

## In short

- Of a pupil a nickname, a class and a team are kept. No e-mail, no password, no birth date, no address, no
  photograph, no voice, no location. A roster brought in from the school's system adds that system's key and nothing
  else (columns such as password, phone or demographics are never read).
- Nothing is sent anywhere: pages load nothing from other hosts (a browser test looks at every request), there are
  no advertisements, no analytics, no third-party sign-in unless the school adds one. An administrator may add addresses
  that are told what happened (*School, Webhooks*): ids and states, nothing of a pupil (docs/api.md).
- A student's own pages (parts, reports, lab sheet) stay in the browser for looking without a connection, until the
  student signs out or the session ends (two hours). The next page for nobody empties that store; a browser that never
  reaches the site again shows nothing after the two hours, but the store lies on the machine until somebody opens the
  site there. This needs HTTPS; over plain HTTP in the room nothing is kept.
- Network addresses are kept only while a wrong staff sign-in is locked (15 minutes, until the next sign-in).
  Pupils' wrong tries are counted under a keyed hash.
- Pupils see their own team. Teachers see their classes, technicians what they print, administrators their school;
  nobody sees another school (docs/permissions.md). Who runs a district sees counts of each school and no name
  (docs/district.md).
- Names in a drawn file's header are never shown and do not pass into the files the printer gets. The pupil's own
  download is the file as it was uploaded.

## How long

A class is deleted so many days after it was archived as the administrator sets under *School, Privacy* (60 when
nobody sets it); a class nobody archives, that many days and a year after the last thing that happened in it. Pupils
taken out of their class are deleted with the next daily run, and so are sessions that have run out. Deleting takes
out rows, files, pictures, sessions, jobs, and what the records say; in SQLite the freed pages are overwritten.
`tests/makerlab/test_privacy.py` searches the whole database and store for the name afterwards.

A teacher or administrator deletes one pupil at once on the pupil's page: sign-in, nickname wherever it stands as a
word of its own, and the work of a team nobody else is in. A team with others keeps its parts and readings without
the name. A nickname written otherwise than it is spelt (a short form, a slip) is not found by the machine.

What was deleted stays in backups made before, until they run out (docs/keeping.md: 14 days and 8 weeks when nothing
else is set).

## Handing over

*Download everything* on a pupil's page gives one zip: all that is kept of the pupil, and the team's files. That it
was made stands in the records, as does who looked at a pupil's page, changed, exported or deleted something
(*School, Privacy, Who did what*).

## Notes on United States law

From memory of the regulations' section numbers unless marked; counsel decides.

- **FERPA, 34 CFR 99.** Parents, or the student at 18, may inspect education records, and the school answers within
  45 days (99.10): *Download everything*. They may ask for amendment (99.20): teachers can rename, correct and
  remove. A vendor may act as "school official" only under the school's direct control (99.31(a)(1)(i)(B)): the
  school runs this software itself, on its own machine. Disclosures to others are to be recorded (99.32): the app
  records exports; what is done with a downloaded file the school records itself.
- **COPPA, 16 CFR 312** (under 13; amended rule in effect since 23 June 2025, to be met by 22 April 2026). Data are
  kept only as long as needed and never without end: see *How long*; the school's written retention policy is the
  school's to write. Nothing is disclosed to third parties. Whether the school may consent in the parents' stead for
  its own educational use, and what notice it gives, is for counsel.
- States may ask for more.

## Every personal field

| field | what | whose | stays until |
|---|---|---|---|
"""


def page() -> str:
    rows = [
        f"| {model}.{one.field} | {one.what} | {one.whose} | {one.until} |"
        for model, fields in sorted(PERSONAL.items())
        for one in fields
    ]
    return HEAD + "\n".join(rows) + "\n"
