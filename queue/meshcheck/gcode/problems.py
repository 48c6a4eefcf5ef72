"""What can be wrong with a file of machine words, in plain words."""

from __future__ import annotations

from meshcheck.gcode import state as s
from meshcheck.gcode import words as w
from meshcheck.gcode.facts import GcodeRejected

_AGAIN = "Prepare the file again and upload it as it was saved."
_DIALECT = "Check that the right reading of words is set for this printer, or prepare the file again."

# number in the compiled code: code, message, mend
_IN_A_LINE: dict[int, tuple[str, str, str]] = {
    w.NUL: ("nul", "holds a zero byte, which no text has", _AGAIN),
    w.LONG: ("line_long", f"is longer than {w.CODE_MOST} characters (comments not counted)", _AGAIN),
    w.NUMBER: ("number", "holds a number that cannot be read", _AGAIN),
    w.SYMBOL: ("symbol", "holds something that is not a word of a letter and a number", _DIALECT),
    w.TWICE: ("twice", "uses one letter twice", _AGAIN),
    w.CHECKSUM: ("checksum", "does not match its checksum: the file was damaged", _AGAIN),
    w.COMMENT: ("comment", "opens a comment that it does not close", _AGAIN),
    w.CROWDED: ("crowded", f"holds more than {w.CODES_MOST} G or M words", _AGAIN),
    s.MODE: (
        "feed_mode",
        "asks for G{detail:g}: feed by inverse time or per turn, which printers do not use",
        _DIALECT,
    ),
    s.WORD: ("word", "asks for G{detail:g}, which is not known here, so its time cannot be told", _DIALECT),
    s.FEED: ("feed", "moves without a feed, or at one that cannot be", "Give a feed (F, per minute) before moving."),
    s.AXIS: ("axis", "moves an axis other than X, Y, Z and E", _DIALECT),
    s.NO_MODE: ("no_motion", "names an axis without a number, or before any G0 to G3 said how to move", _AGAIN),
    s.ARC: ("arc", "asks for an arc that cannot be: its begin and end lie at different radii, or it has none", _AGAIN),
    s.FAR: ("far", "moves more than 10 m, or by a share that cannot be", _AGAIN),
    s.DWELL: ("dwell", "waits for less than nothing or for more than a day", _DIALECT),
    s.EXTRUDER: ("extruder", "moves an extruder, which this reading of words does not have", _DIALECT),
    s.VOLUMETRIC: (
        "volumetric",
        "counts filament by volume (M200)",
        "Prepare the file with filament counted by length.",
    ),
    s.TOOL_NUMBER: ("tool", f"asks for a tool other than 0 to {s.TOOLS_MOST - 1}", _DIALECT),
}

_WHOLE_FILE = {
    "too_big": ("The file is {size} MB; at most {most} MB are read.", "Print fewer copies on one plate."),
    "too_long": (
        "The file has more than {lines:,} lines or {moves:,} moves.",
        "Print fewer copies on one plate, or prepare it with less detail.",
    ),
    "no_moves": ("None of the {lines:,} lines moves anything.", "Upload the file of machine words (G-code) itself."),
}


def problem(number: int, line: int, detail: float) -> GcodeRejected:
    """What is wrong in a line, counted from 1."""
    code, message, mend = _IN_A_LINE[number]
    return GcodeRejected(code, f"Line {line:,} {message.format(detail=detail)}.", mend)


def rejected(code: str, **figures: int) -> GcodeRejected:
    """What is wrong with the whole file."""
    message, mend = _WHOLE_FILE[code]
    return GcodeRejected(code, message.format(**figures), mend)
