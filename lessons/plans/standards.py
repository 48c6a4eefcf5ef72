"""Performance expectations of the Next Generation Science Standards, code and our own paraphrase.

Read at nextgenscience.org and in public copies (NSTA, scopesdf.org, classjax.com); codes are exact, wordings are ours.
Those marked in ``FROM_MEMORY`` were written from memory and not read again.
"""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as noted

FROM_MEMORY = frozenset({"4-PS3-1", "HS-PS3-1"})

STANDARDS: dict[str, str] = {
    "3-PS2-1": noted("Plan and do a test of how balanced and unbalanced forces change the motion of a thing."),
    "3-PS2-2": noted("Watch and measure a motion to find a pattern that tells the motion to come."),
    "4-PS3-1": noted("Give evidence for how the speed of a thing goes with its energy."),
    "3-5-ETS1-1": noted("Say what a simple problem is, how success is judged, and what material, time and cost allow."),
    "3-5-ETS1-2": noted("Make several solutions of a problem and compare how well each meets what was asked."),
    "3-5-ETS1-3": noted("Run fair tests, one thing changed at a time, and use where a model fails to make it better."),
    "MS-PS2-1": noted("Use action and reaction of two things that collide to design a solution."),
    "MS-PS2-2": noted("Plan a test that shows how a change of motion depends on the forces together and on the mass."),
    "MS-PS3-1": noted("Draw and read graphs of how the energy of motion goes with mass and with speed."),
    "MS-PS3-2": noted("Make a model that shows how energy stored at a distance changes with the arrangement."),
    "MS-PS3-5": noted("Argue from evidence that energy came in or went out when the energy of motion changed."),
    "MS-ETS1-1": noted("State what is asked and what limits it, precisely enough that a solution can be judged."),
    "MS-ETS1-2": noted("Judge competing designs in an orderly way by what was asked and what limits them."),
    "MS-ETS1-3": noted("Use test data of several designs to find what is best in each and could be joined."),
    "MS-ETS1-4": noted("Make a model that gives data, and use it to test and change a design until it is best."),
    "HS-PS2-1": noted("Use data to support that net force equals mass times acceleration for motion along a line."),
    "HS-PS3-1": noted("Compute how the energy of one part of a system changes when that of the others is known."),
    "HS-PS3-3": noted("Design, build and refine a device that turns one form of energy into another, within limits."),
    "HS-ETS1-1": noted("Turn a great challenge into what is asked and what limits it, for people and in figures."),
    "HS-ETS1-2": noted("Split a hard problem into smaller ones that can be solved."),
    "HS-ETS1-3": noted("Weigh a solution by what matters most and what is given up: cost, safety, reliability, looks."),
    "HS-ETS1-4": noted("Simulate what proposed solutions do within a system and to the systems around it."),
}


def paraphrase(code: str) -> str:
    """Our wording of a code, empty when it is not in the table."""
    found = STANDARDS.get(code.strip())
    return _(found) if found else ""
