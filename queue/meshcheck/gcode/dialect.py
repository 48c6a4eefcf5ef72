"""What the words of a file mean where machines differ.

The common words are those of RS-274 as NISTIR 6556 describes its interpreter (Kramer, Proctor, Messina, 2000). The
words of printers (E, M82, M104 ...) are outside that report, differ from maker to maker and are common practice, no
source; a dialect says which reading is meant. It is chosen for a printer, never guessed from a file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Dialect:
    """One reading of the words. ``printer``: E words and the M words of printers exist; G28 homes and has no
    intermediate point; G92 leaves axes alone that it does not name; lines of plain words are passed over.

    dwell_ms: G4 P counts milliseconds, otherwise seconds (S always counts seconds). rapids_at_feed: G0 moves at the
    last F, otherwise at the machine's travel speed. axes_set_extruder: G90 and G91 also set how E counts, until an
    M82 or M83 says otherwise.
    """

    key: str
    name: str
    printer: bool = True
    dwell_ms: bool = True
    rapids_at_feed: bool = True
    axes_set_extruder: bool = True


_TABLE = (
    Dialect("printer-ms", "printer words, dwell in milliseconds"),
    Dialect("printer-s", "printer words, dwell in seconds", dwell_ms=False),
    Dialect("printer-rapid", "printer words, dwell in milliseconds, G0 at travel speed", rapids_at_feed=False),
    Dialect(
        "printer-own-e", "printer words, dwell in milliseconds, G90 and G91 leave E alone", axes_set_extruder=False
    ),
    Dialect(
        "rs274",
        "RS-274 as in NISTIR 6556, without printer words",
        printer=False,
        dwell_ms=False,
        rapids_at_feed=False,
        axes_set_extruder=False,
    ),
)

DIALECTS: Mapping[str, Dialect] = MappingProxyType({dialect.key: dialect for dialect in _TABLE})
