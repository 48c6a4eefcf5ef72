"""Every finding there is, in a student's words: one table for pages, command line and reference page.

Templates are filled by ``meshcheck.findings.make``. Where a finding measures something against limits it is
called with ``value`` and with ``low`` or ``high`` or both; ``{allowed}`` then says them in words.
"""

from __future__ import annotations

from dataclasses import dataclass

from meshcheck.types import Level

FIX, ADVICE, PASSES = Level.MUST_FIX, Level.ADVICE, Level.PASSES

KIT = "the gauge of the kit part"
ASSIGNMENT = "the assignment's limits"
SETTINGS = "the print settings of this part"
ROOM = "the largest bed in the room"
SKIN = "3MF core specification 1.4.0: every edge belongs to exactly two triangles, wound in opposite order"
STEEP = "45° from upright prints without support: Jiang, Xu and Stringer 2018 (JMMP 2:64); Mazlan 2020"
WALL = "two lines side by side; print-bureau guides ask for 0.8 mm and more, no standard says so"
SMALL = "print-bureau guides: holes under 2 mm close up, pins under 3 mm break; no standard says so"
BRIDGE = "10 mm is common practice, no source; print-bureau guides claim 25 to 60 mm for single machines"
POSES = "our estimate of both poses; how grams, minutes and risk are weighed is common practice, no source"
MILLIONTH = "our limit: a millionth of the part's size"


@dataclass(frozen=True, slots=True)
class Entry:
    """One kind of finding. ``unit`` and ``decimals`` say how ``value``, ``low`` and ``high`` are written."""

    level: Level
    title: str
    figure: str = ""
    why: str = ""
    mend: str = ""
    limit_source: str = ""
    unit: str = "mm"
    decimals: int = 2


ENTRIES: dict[str, Entry] = {
    # The skin
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
    # The file
    "trailing_bytes": Entry(PASSES, "Extra bytes at the end were left out", "{message}"),
    "note": Entry(PASSES, "The reader noticed something", "{message}"),
    "rejected": Entry(FIX, "The file cannot be read", "{message}", mend="{mend}"),
    # Units
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
    # Size, mass, time
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
    # Walls and undersides
    "walls_ok": Entry(
        PASSES, "Walls are thick enough", "thinnest {value:.2f} mm, allowed {allowed}", limit_source=WALL
    ),
    "thin_walls": Entry(
        ADVICE,
        "A wall is thin",
        "thinnest {value:.2f} mm, allowed {allowed}",
        "A wall needs two lines side by side to be strong. One line alone snaps easily.",
        "Make the wall at least {low:.2f} mm thick. Spokes and rims need 1.2 mm and more.",
        WALL,
    ),
    "walls_one_line": Entry(
        FIX,
        "A wall is too thin to hold",
        "thinnest {value:.2f} mm, allowed {allowed}",
        "Only one line of plastic, {line_width:.2f} mm wide, fits in it. It snaps when the part is taken off or used.",
        "Make the wall at least {low:.2f} mm thick. Spokes and rims need 1.2 mm and more.",
        WALL,
    ),
    "walls_vanish": Entry(
        FIX,
        "A wall is too thin to print",
        "thinnest {value:.2f} mm, allowed {allowed}",
        "The nozzle draws a line {line_width:.2f} mm wide. A wall thinner than that is left out, so the part falls "
        "apart.",
        "Make the wall at least {low:.2f} mm thick.",
        WALL,
    ),
    "undersides_ok": Entry(
        PASSES, "It prints without support", "no underside steeper than {limit_deg:.0f}°", limit_source=STEEP
    ),
    "steep_underside": Entry(
        ADVICE,
        "Undersides need support",
        "{area_cm2:.1f} cm² steeper than {limit_deg:.0f}°, {support}",
        "The printer cannot draw on air. It builds support below, which costs filament and time and leaves marks.",
        "Let the part start at the bed, or slope its undersides no flatter than {limit_deg:.0f}°. Often turning the "
        "part over is enough.",
        STEEP,
    ),
    "bridged": Entry(
        PASSES, "Short bridges are drawn on air", "longest {value:.1f} mm, allowed {allowed}", limit_source=BRIDGE
    ),
    "turn_it": Entry(
        ADVICE,
        "It prints better on another face",
        "saves {saved}",
        "Laid on that face, the part {because}.",
        "Let {face} look down: turn the part in your drawing, or ask to have it laid that way. Your file stays as "
        "it is.",
        POSES,
    ),
    "no_flat_side": Entry(
        ADVICE,
        "It has no flat side to stand on",
        "it tips over when leaned by {value:.0f}°, allowed {allowed}",
        "A part that touches the bed in a point or a line comes loose while it prints.",
        "Cut a small flat on one side, or split the part in half and join the halves later.",
        POSES,
        "°",
        0,
    ),
    "small_hole": Entry(
        ADVICE,
        "A hole is very small",
        "{value:.2f} mm{where}, allowed {allowed}",
        "Small holes print narrower than drawn and often close up.",
        "Make the hole wider, or drill it after printing, with an adult.",
        SMALL,
    ),
    "small_pin": Entry(
        ADVICE,
        "A pin is very thin",
        "{value:.2f} mm{where}, allowed {allowed}",
        "Thin pins break off when the part is taken from the bed or pushed into something.",
        "Make the pin thicker or shorter, or leave a hole and put a metal pin in it.",
        SMALL,
    ),
    # The gauge
    "hole_kept": Entry(PASSES, "The hole fits the gauge", "{value:.2f} mm{where}, allowed {allowed}", "", "", KIT),
    "hole_too_small": Entry(
        FIX,
        "The hole is too small",
        "{value:.2f} mm{where}, allowed {allowed}",
        "The axle would not go in. A printed hole shrinks a little more.",
        "Select the hole in your drawing and set its diameter to {wanted:.2f} mm. Do not scale the whole part.",
        KIT,
    ),
    "hole_too_large": Entry(
        FIX,
        "The hole is too large",
        "{value:.2f} mm{where}, allowed {allowed}",
        "The part would wobble on its axle, and your times would scatter.",
        "Select the hole in your drawing and set its diameter to {wanted:.2f} mm. Do not scale the whole part.",
        KIT,
    ),
    "hole_scaled": Entry(
        FIX,
        "The whole part was scaled, and the hole with it",
        "{value:.2f} mm{where}, allowed {allowed}: {scale:.3f} times as large",
        "The hole must keep its size to fit the axle, however large the rest becomes.",
        "Undo the scaling. Change the rim and the spokes in the drawing, and leave the hole at {wanted:.2f} mm.",
        KIT,
    ),
    "hole_stretched": Entry(
        FIX,
        "The hole is stretched",
        "{narrow:.2f} by {wide:.2f} mm{where}, allowed {allowed}",
        "The part was scaled more in one direction than in another, so the hole is no longer round.",
        "Undo the scaling and change the drawing instead. The hole must be a circle of {wanted:.2f} mm.",
        KIT,
    ),
    "hole_filled": Entry(
        FIX,
        "The hole is missing",
        "{found} of {needed} holes found",
        "Without the hole of {wanted:.2f} mm the part cannot go on its axle.",
        "Cut the hole again, through the solid part. A body drawn over it may have filled it.",
        KIT,
    ),
    "hole_missing_in_some": Entry(
        ADVICE,
        "Not every piece has the hole",
        "{found} holes in {bodies} pieces",
        "If each piece should go on an axle, some of them cannot.",
        "Copy the finished piece with its hole, or hand in one piece and ask for more copies.",
        KIT,
    ),
    "hole_few_sides": Entry(
        FIX,
        "The hole has corners, so the axle will jam",
        "only {value:.2f} mm passes{where}, allowed {allowed}",
        "The hole has {facets} flat sides. The corners lie on the right circle, the sides stand further in.",
        "Draw the hole as a circle, and export with a finer setting: 32 sides or more.",
        KIT,
    ),
    "hole_coarse": Entry(
        ADVICE,
        "The hole is drawn coarsely",
        "{value:.2f} mm passes{where}, allowed {allowed}",
        "The hole has {facets} flat sides, and they make it a little tighter than its circle.",
        "Export with a finer setting: 32 sides or more.",
        KIT,
    ),
    "hole_off_centre": Entry(
        FIX,
        "The hole is not in the middle",
        "{value:.2f} mm off{where}, allowed {allowed}",
        "The wheel would hop up and down by {run_out:.2f} mm with every turn.",
        "Draw the hole and the rim about the same centre point.",
        KIT,
    ),
    "hole_central": Entry(
        PASSES, "The hole is in the middle", "{value:.2f} mm off{where}, allowed {allowed}", "", "", KIT
    ),
    "hole_centre_unknown": Entry(
        ADVICE,
        "We cannot tell whether the hole is central",
        "not known: {because}",
        "There is no round outside to measure from.",
        "Look at it yourself, and ask your teacher.",
        KIT,
    ),
    "hole_through": Entry(PASSES, "The hole goes right through", "{value:.2f} mm deep{where}", "", "", KIT),
    "hole_blind": Entry(
        FIX,
        "The hole does not go through",
        "{value:.2f} mm deep{where}, must go through",
        "The axle has to come out at the other side.",
        "Cut the hole through the whole part (“through all” instead of a depth).",
        KIT,
    ),
    "hole_blocked": Entry(
        FIX,
        "Something stands in the hole",
        "{value:.2f} mm deep{where}, not free",
        "Another piece crosses the hole, so the axle cannot pass.",
        "Find the body that reaches into the hole and cut it back, or cut the hole last.",
        KIT,
    ),
    "hole_open": Entry(
        FIX,
        "The hole goes right through",
        "{value:.2f} mm deep{where}, must end inside",
        "Here the axle must stop inside the part.",
        "Give the cut a depth instead of “through all”.",
        KIT,
    ),
    "hole_depth_ok": Entry(
        PASSES, "The hole has the right depth", "{value:.2f} mm{where}, allowed {allowed}", "", "", KIT
    ),
    "hole_too_short": Entry(
        FIX,
        "The hole is too short",
        "{value:.2f} mm deep{where}, allowed {allowed}",
        "The axle is held over a shorter stretch and tilts.",
        "Make the hub {wanted:.2f} mm long again. If the whole part was flattened, undo that.",
        KIT,
    ),
    "hole_too_deep": Entry(
        FIX,
        "The hole is too long",
        "{value:.2f} mm deep{where}, allowed {allowed}",
        "A longer hub does not fit between the holders.",
        "Make the hub {wanted:.2f} mm long again. If the whole part was stretched, undo that.",
        KIT,
    ),
    "hole_uncertain": Entry(
        ADVICE,
        "The hole is hard to measure",
        "{value:.2f} mm{where}, give or take {roundness:.2f} mm",
        "The faces around it are uneven, so the figure may be off.",
        "Export the part again with a finer setting, straight from the drawing. Check with the axle gauge.",
    ),
}
