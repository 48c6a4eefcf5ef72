"""Size, mass and time."""

from __future__ import annotations

from meshcheck.catalogue.entry import ASSIGNMENT, FIX, KIT, PASSES, ROOM, Entry

LIMIT_ENTRIES: dict[str, Entry] = {
    "size_box_ok": Entry(PASSES, "It fits the size box", "{size} mm, at most {most} mm", limit_source=KIT),
    "size_box": Entry(
        FIX,
        "It is too big for the size box",
        "{size} mm, at most {most} mm",
        "The part must fit where it is used, and small parts leave room on the plate for the other teams.",
        "Make it {over:.1f} mm smaller in the side that sticks out. Change the drawing; scaling all of it would "
        "change the hole too.",
        KIT,
    ),
    "fits_bed": Entry(PASSES, "It fits on a printer", "{size} mm, beds up to {most} mm", limit_source=ROOM),
    "too_big_for_bed": Entry(
        FIX,
        "It is too big for every printer in the room",
        "{size} mm, beds up to {most} mm",
        "No bed holds the part, even when it is turned.",
        "Make it smaller or cut it into parts that you join later. Check the unit too: an inch is 25.4 mm.",
        ROOM,
    ),
    "light_enough": Entry(PASSES, "It is light enough", "{value:.1f} g, allowed {allowed}", "", "", ASSIGNMENT, "g", 1),
    "too_heavy": Entry(
        FIX,
        "It is too heavy",
        "{value:.1f} g, allowed {allowed}",
        "Each team has the same share of filament.",
        "Take material away where it does little: thinner spokes, holes, a narrower rim.",
        ASSIGNMENT,
        "g",
        1,
    ),
    "quick_enough": Entry(
        PASSES, "It prints in time", "{value:.0f} min, allowed {allowed}", "", "", ASSIGNMENT, "min", 0
    ),
    "too_long": Entry(
        FIX,
        "It takes too long to print",
        "{value:.0f} min, allowed {allowed}",
        "The room has only so many printer hours before lab day.",
        "Make the part smaller or lower, and avoid steep undersides: support takes time too.",
        ASSIGNMENT,
        "min",
        0,
    ),
}
