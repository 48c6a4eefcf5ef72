"""The hole that is held against the gauge."""

from __future__ import annotations

from meshcheck.catalogue.entry import ADVICE, FIX, KIT, PASSES, Entry

HUB_ENTRIES: dict[str, Entry] = {
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
