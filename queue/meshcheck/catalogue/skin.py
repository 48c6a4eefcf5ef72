"""The skin: gaps, sides, pieces."""

from __future__ import annotations

from meshcheck.catalogue.entry import ADVICE, FIX, MILLIONTH, PASSES, POSITIVE, SKIN, Entry

SKIN_ENTRIES: dict[str, Entry] = {
    "closed": Entry(PASSES, "The skin is closed", "{faces:,} triangles, no open edges", limit_source=SKIN),
    "not_closed": Entry(
        FIX,
        "The skin has gaps",
        "{open_edges:,} open edges, allowed 0",
        "A printer fills the inside of a part. Where the skin has a gap, nobody can tell inside from outside.",
        "Look for a missing face or for edges that do not meet. Close them, then export the file again. Many drawing "
        "programs have a command that checks or repairs a solid.",
        SKIN,
    ),
    "crowded_edges": Entry(
        FIX,
        "Three or more faces meet at one edge",
        "{crowded_edges:,} such edges, allowed 0",
        "At such an edge the part touches itself, or a wall has no thickness. It cannot be printed as one solid.",
        "Look for faces inside the part or for two bodies that only touch. Join them into one solid, or move them "
        "apart by at least 0.5 mm.",
        SKIN,
    ),
    "winding_mixed": Entry(
        FIX,
        "Some faces are inside out",
        "{flipped_edges:,} edges where neighbours disagree, allowed 0",
        "Each triangle has a front that must look outward. Here some look inward, so solid and air get mixed up.",
        "Use your program's command to turn the normals outward, or rebuild the faces, then export again.",
        SKIN,
    ),
    "winding_consistent": Entry(PASSES, "All faces look the same way", limit_source=SKIN),
    "skin_crosses": Entry(
        ADVICE,
        "The skin passes through itself",
        "{length_mm:.0f} mm of crossing{where}; {room_mm3:.0f} mm³ were drawn twice",
        "It prints as one solid, and we count the doubled room once. Still, it can hide a hole or a gap that you drew.",
        "Look for a sketch line that crosses itself, or for a body pushed through another without joining them. "
        "Redraw it so that the outline never crosses, or join the bodies into one solid.",
        POSITIVE,
    ),
    "partly_inside_out": Entry(
        FIX,
        "A part of the solid is inside out",
        "{room_mm3:.0f} mm³ are enclosed the wrong way round{where}",
        "Where a skin is twisted through itself, its outside turns inward. That room stays empty when it is printed.",
        "Look for a sketch line that crosses itself like the figure 8, or for a twist that turns over. Redraw it so "
        "that the outline never crosses.",
        POSITIVE,
    ),
    "skin_grazes": Entry(
        PASSES,
        "Faces cut each other by a hair",
        "{length_mm:.1f} mm of crossing{where}, too little to be seen in print",
    ),
    "inside_out_turned": Entry(
        ADVICE,
        "The part was inside out; we turned it",
        "{turned_bodies:,} turned",
        "All faces looked inward. The part is measured and printed the right way round now.",
        "Nothing to do for this print. A mirrored body often causes it: mirror the sketch instead.",
        SKIN,
    ),
    "welded": Entry(
        ADVICE,
        "Tiny gaps were closed",
        "corners closer than a millionth of the part's size were joined",
        "Corners that should be one point were a hair apart. They are joined now, and the measures hold.",
        "Nothing to do. If your program can export with more decimals, choose that.",
        MILLIONTH,
    ),
    "zero_area_faces": Entry(
        PASSES,
        "Flat slivers were left out",
        "{zero_area_faces:,} triangles without area",
        "They cover nothing, so the part does not change.",
    ),
    "several_bodies": Entry(
        ADVICE,
        "The file holds {bodies} separate pieces",
        "{bodies} pieces",
        "Pieces that do not touch print apart. That is right for four wheels, and wrong for a loose crumb.",
        "If you meant one part, join the pieces into one solid before you export.",
    ),
    "overlapping_bodies": Entry(
        ADVICE,
        "Pieces stand inside each other",
        "{bodies} pieces",
        "They print as one, and we count the shared room once. Still, an overlap can hide a hole that you drew.",
        "Join the pieces into one solid (often called union, join or combine) before you export.",
    ),
    "volume_unknown": Entry(
        ADVICE,
        "Grams and minutes cannot be told",
        "not known: {because}",
        "Without a closed skin there is no inside to weigh.",
        "Mend the skin first. The figures then appear by themselves.",
    ),
    "not_measured": Entry(ADVICE, "{what} could not be measured", "not known: {because}"),
}
