"""Find the round holes of a part: where they are, how wide, how deep, what passes, and how central they sit."""

from meshcheck.holes.find import find_holes

__all__ = ["find_holes"]
