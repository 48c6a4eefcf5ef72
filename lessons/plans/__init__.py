"""Lesson plans beyond their rows: what one may hold, its cautions, how versions differ, sheets and packages."""
