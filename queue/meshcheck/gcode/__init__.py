"""Reading a file of machine words that somebody prepared elsewhere: its minutes, its filament, where it moves."""

from meshcheck.gcode.belongs import Tolerance as Tolerance
from meshcheck.gcode.belongs import belongs_to_plate as belongs_to_plate
from meshcheck.gcode.belongs import fits_bed as fits_bed
from meshcheck.gcode.belongs import suits_material as suits_material
from meshcheck.gcode.belongs import takes_as_long as takes_as_long
from meshcheck.gcode.dialect import DIALECTS as DIALECTS
from meshcheck.gcode.dialect import Dialect as Dialect
from meshcheck.gcode.facts import Box as Box
from meshcheck.gcode.facts import GcodeFacts as GcodeFacts
from meshcheck.gcode.facts import GcodeRejected as GcodeRejected
from meshcheck.gcode.reader import read_gcode as read_gcode
