"""Measuring a part: read, repair, check, slice, estimate. Pure Python, no Django.

``meshcheck.check.check_part`` is the front door; everything it returns is in ``meshcheck.types``.
"""
