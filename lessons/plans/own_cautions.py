"""Cautions of the lessons that come with the app, and their sources, so that they are told in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext_noop as noted

OWN_CAUTIONS: frozenset[str] = frozenset(
    {
        noted("Cut rods have sharp ends. An adult cuts them and takes the edge off before class."),
        noted("Coins, stops and small parts stay away from children under three."),
        noted(
            "Water and plugs stay apart. No tub stands near a printer, a cord or a laptop. Enter your data with dry "
            "hands."
        ),
        noted("Wipe up spills at once. A wet floor is slippery."),
        noted("Do not drink the water or eat from printed parts. Wash your hands at the end."),
        noted("Coins and small parts stay away from children under three."),
        noted("All in the room wear safety glasses while a launcher is loaded."),
        noted("Only the soft ball is thrown. No stones, coins, pens or marbles, not even once."),
        noted("Keep the lane clear. Nobody stands in front of a launcher. Look, say “clear”, then pull the string."),
        noted(
            "Keep fingers and faces out of the path of the arm and the weight. They pinch and hit. Put the pin in "
            "before you reach in."
        ),
        noted("Fetch balls only when all launchers of the row are empty and the teacher says so."),
        noted("Balls, nuts and washers stay away from children under three."),
        noted("Gears pinch. Keep fingers, hair, sleeves and cords away from the teeth while anybody turns."),
        noted("Never let go of a loaded crank: it spins back and hits. Let the load down by turning."),
        noted("Feet and hands stay out from under the load. The soft pad lies there."),
        noted("Hang up no more than 300 g. Stop when a string frays or a part cracks."),
        noted("Wear glasses while a string is under load."),
        noted("Washers and rubber rings stay away from children under three."),
        noted("Glue: open a window, keep it off skin, and follow the label."),
        noted("Turning blades cut and break. All in the room wear safety glasses while a fan runs."),
        noted(
            "Nobody stands beside the rotor, where a blade would fly. Stay behind the line or behind the clear sheet."
        ),
        noted("Hands off until the rotor stands still. Tie back hair. No loose sleeves, cords or chains."),
        noted("Only a fan with its guard, on the lowest speed. Nothing goes through the guard."),
        noted("Pull each blade before each run. Use none that is cracked, loose or glued a second time."),
        noted("Stop if the rotor shakes: its blades are not alike."),
        noted("Fan cords lie where nobody trips. No water on the table."),
        noted("Screws and small parts stay away from children under three."),
    }
)
OWN_SOURCES: frozenset[str] = frozenset(
    {
        noted("16 CFR 1501, small parts"),
        noted("common practice, no source; pinch points are named by a UL expert in IAEI Magazine"),
        noted("common practice, no source; entanglement is named by Illinois State University"),
    }
)
