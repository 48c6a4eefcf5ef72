"""The file and the unit it is drawn in."""

from __future__ import annotations

from meshcheck.catalogue.entry import FIX, KIT, PASSES, Entry

FILE_ENTRIES: dict[str, Entry] = {
    "trailing_bytes": Entry(PASSES, "Extra bytes at the end were left out", "{message}"),
    "note": Entry(PASSES, "The reader noticed something", "{message}"),
    "rejected": Entry(FIX, "The file cannot be read", "{message}", mend="{mend}"),
    "unit_taken": Entry(PASSES, "Taken in {unit_name}", "{because}"),
    "unit_proposed": Entry(
        FIX,
        "The part seems to be drawn in {unit_name}",
        "{because}",
        "The file does not say its unit. Taken as it is, the part would print at the wrong size.",
        "Press “Read again in {unit_name}”, or export the file in millimetres.",
    ),
    "unit_scale": Entry(
        FIX,
        "The whole part is {times}",
        "the hole is {value:.2f} mm, allowed {allowed}",
        "{because} This happens when two programs do not agree about the unit.",
        "{how}",
        KIT,
    ),
}
