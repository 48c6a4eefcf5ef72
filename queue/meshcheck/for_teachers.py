"""What a teacher may say or do about each finding. The student's words are in the catalogue; limits and sources too.

Our own classroom words; where practice is meant it is common practice, no source.
"""

from __future__ import annotations

_SKIN = "Ask the team to rebuild the face in the drawing; a repaired export hides the mistake until the next one."
_UNIT = "Have the team say aloud in which unit they drew, then read it again in that unit or export anew."
_HUB = "The point of the task: the hub is the constant. Ask which step of the drawing changed it, and undo that step."

FOR_TEACHERS: dict[str, str] = {
    "not_closed": _SKIN,
    "crowded_edges": _SKIN,
    "winding_mixed": _SKIN,
    "skin_crosses": "It prints. Ask where two outlines run through each other, and let the team join or redraw them.",
    "partly_inside_out": "It will not print as drawn. Look for an outline that crosses itself like the figure 8.",
    "inside_out_turned": "Nothing to do for the print. Worth a word if it comes back: usually a body was mirrored.",
    "welded": "Nothing to do. If many teams have it, choose a finer export setting for the class.",
    "several_bodies": "Ask whether the pieces belong together. Four wheels in one file are fine; a crumb is not.",
    "overlapping_bodies": "It prints. Let the team join the bodies, so that what they see is what is printed.",
    "volume_unknown": "Wait for a closed version: without it nobody can tell grams or minutes.",
    "not_measured": "Look at the part yourself; this one thing could not be measured.",
    "rejected": "Usually the wrong file or an interrupted export. Sit with the team for the export once.",
    "unit_proposed": _UNIT,
    "unit_scale": _UNIT,
    "size_box": "Ask which measure of the drawing they would change, and why not by scaling.",
    "too_big_for_bed": "Check the unit first. If the size is meant, cut the part into pieces that are joined.",
    "too_heavy": "A good moment for the trade-off: where is material that does no work?",
    "too_long": "Ask what costs the minutes: height, support or filling. The layer view shows it.",
    "thin_walls": "It prints; it may break in the test. You may let it, if breaking is part of the lesson.",
    "walls_one_line": "It will come off the bed in pieces. Printing it costs the class a place on a plate.",
    "walls_vanish": "It will not be printed at all: the wall is thinner than one line.",
    "steep_underside": "Support costs filament and leaves marks. Compare with the same part turned over.",
    "turn_it": "Laying it on the other face changes nothing in the design: offer it, or do it at the desk.",
    "no_flat_side": "Give it a flat side, or print it with a raft and expect some to come off.",
    "small_hole": "It prints narrower than drawn. Drilling afterwards is for an adult.",
    "small_pin": "It breaks easily. Ask whether a hole with a metal pin would serve.",
    "hole_too_small": _HUB,
    "hole_too_large": _HUB,
    "hole_scaled": "The whole part was scaled, the commonest mistake. Undo the scaling and change the rim instead.",
    "hole_stretched": "One direction was scaled more than another. Undo it; the hub must be a circle.",
    "bore_shape_changed": "Let the team try the real axle in both parts: they feel at once what the shape is for.",
    "bore_tapers": "Some programs add a draft angle to holes. Ask whether it was meant; the axle is straight.",
    "bore_flat_moved": _HUB,
    "bore_keyway_changed": _HUB,
    "hub_changed": "Fine if it was meant and still fits the holder. Lay it on the kit part and look together.",
    "hub_outside_changed": "Fine if it was meant. Ask what the hub runs beside.",
    "hole_filled": "A later step of the drawing filled the hole. Look at the order of the steps with the team.",
    "hole_missing_in_some": "Ask whether each piece should go on an axle.",
    "hole_few_sides": "The drawing may be right and the export too coarse: try a finer setting first.",
    "hole_coarse": "It will do. A finer export makes it run better.",
    "hole_off_centre": "The wheel will hop. Let them spin a coin on a pin off its middle to see why it matters.",
    "hole_centre_unknown": "Measure it on the printed part, or ask for a round outside.",
    "hole_blind": _HUB,
    "hole_blocked": "Another body reaches into the hole. Cut it last.",
    "hole_open": _HUB,
    "hole_too_short": "The hub was flattened: the axle will tilt. Check whether the whole part was scaled in height.",
    "hole_too_deep": "The hub was lengthened and will rub on the holder.",
    "hole_uncertain": "Try the axle gauge on the printed part; the figure is only near.",
}
