"""How the site stands to the OWASP Application Security Verification Standard 5.0.0: all of level 1, and level 2 of its
chapters on files, sessions and authorization. The table is asvs.csv beside this file.

Numbers and levels are read from the standard's own table (OWASP_Application_Security_Verification_Standard_5.0.0_en.csv
of its repository, CC BY-SA 4.0); what each asks is told in our words. ``state``: met, partly, not, or none (there is no
such thing here). ``shown`` are the tests, as file::function under tests/, one space between them.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path


def numbers(text: str) -> frozenset[str]:
    return frozenset(text.split())


LEVEL_1 = numbers("""
1.2.1 1.2.2 1.2.3 1.2.4 1.2.5 1.3.1 1.3.2 1.5.1 2.1.1 2.2.1 2.2.2 2.3.1 3.2.1 3.2.2 3.3.1 3.4.1 3.4.2 3.5.1
3.5.2 3.5.3 4.1.1 4.4.1 5.2.1 5.2.2 5.3.1 5.3.2 6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1
6.3.2 6.4.1 6.4.2 7.2.1 7.2.2 7.2.3 7.2.4 7.4.1 7.4.2 8.1.1 8.2.1 8.2.2 8.3.1 9.1.1 9.1.2 9.1.3 9.2.1 10.4.1
10.4.2 10.4.3 10.4.4 10.4.5 11.3.1 11.3.2 11.4.1 12.1.1 12.2.1 12.2.2 13.4.1 14.2.1 14.3.1 15.1.1 15.2.1 15.3.1
""")
LEVEL_2 = numbers("""
5.1.1 5.2.3 5.4.1 5.4.2 5.4.3 7.1.1 7.1.2 7.1.3 7.3.1 7.3.2 7.4.3 7.4.4 7.4.5 7.5.1 7.5.2 7.6.1 7.6.2 8.1.2
8.2.3 8.4.1
""")


@dataclass(frozen=True, slots=True)
class Requirement:
    """One requirement: what it asks, how it stands, where, and the tests that show it."""

    number: str
    asks: str
    state: str
    where: str
    shown: tuple[str, ...]


def read_table() -> tuple[Requirement, ...]:
    with Path(__file__).with_suffix(".csv").open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file)
        return tuple(Requirement(**{**row, "shown": tuple(row["shown"].split())}) for row in rows)


TABLE = read_table()
