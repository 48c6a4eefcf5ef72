"""Walls, undersides, small features and how the part lies."""

from __future__ import annotations

from meshcheck.catalogue.entry import ADVICE, BRIDGE, FIX, PASSES, POSES, SMALL, STEEP, WALL, Entry

PRINTING_ENTRIES: dict[str, Entry] = {
    "walls_ok": Entry(
        PASSES, "Walls are thick enough", "thinnest {value:.2f} mm, allowed {allowed}", limit_source=WALL
    ),
    "walls_none": Entry(PASSES, "It has no thin walls", "no two sides face each other", limit_source=WALL),
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
}
