"""Every finding there is, in a student's words: one table for pages, command line and reference page.

Templates are filled by ``meshcheck.findings.make``. Where a finding measures something against limits it is
called with ``value`` and with ``low`` or ``high`` or both; ``{allowed}`` then says them in words. Each topic has a
module of its own; ``ENTRIES`` is all of them, in the order in which a part is looked at.
"""

from __future__ import annotations

from meshcheck.catalogue.entry import Entry as Entry
from meshcheck.catalogue.file import FILE_ENTRIES
from meshcheck.catalogue.hub import HUB_ENTRIES
from meshcheck.catalogue.limits import LIMIT_ENTRIES
from meshcheck.catalogue.printing import PRINTING_ENTRIES
from meshcheck.catalogue.skin import SKIN_ENTRIES

ENTRIES: dict[str, Entry] = SKIN_ENTRIES | FILE_ENTRIES | LIMIT_ENTRIES | PRINTING_ENTRIES | HUB_ENTRIES
