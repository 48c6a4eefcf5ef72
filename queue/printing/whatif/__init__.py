"""A situation that is not so: what is changed, how it would be planned, and how it is made so."""

from printing.whatif.changes import Changes, Hours

__all__ = ["Changes", "Hours"]
