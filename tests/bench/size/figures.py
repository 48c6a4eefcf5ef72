"""The figures of the size bench: put together from what ``grow`` printed, and told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any

BLOCK_KB = 8


def questions_of(one: Mapping[str, Any], figure: str) -> list[Any]:
    """One figure of each question; lists run into one."""
    values = [question[figure] for question in one["questions"]]
    return [each for value in values for each in value] if values and isinstance(values[0], list) else values


def answer(one: Mapping[str, Any]) -> dict[str, Any]:
    """A page: milliseconds as asked for the first time and after that, of it in the database, questions, rows looked
    at, MB of the database's pages touched, and big tables read from end to end."""
    return {
        "name": one["name"],
        "who": one["who"],
        "first_ms": round(1000 * one["first_s"], 1),
        "ms": round(1000 * median(one["seconds"]), 1),
        "sql_ms": round(sum(questions_of(one, "ms")), 1),
        "questions": len(one["questions"]),
        "rows": sum(questions_of(one, "read")),
        "mb": round(sum(questions_of(one, "blocks")) * BLOCK_KB / 1024, 1),
        "seq": sorted(set(questions_of(one, "seq"))),
    }


def background(asked: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What no page asks."""
    return [answer(each) for each in asked if each["who"] == "background"]


def slowest(pages: Sequence[Mapping[str, Any]], count: int) -> list[Mapping[str, Any]]:
    """Those that cost the database most."""
    return sorted(pages, key=lambda page: -page["sql_ms"])[:count]


def told(found: Mapping[str, Any]) -> str:
    """A table for people."""
    made = f", made in {found['built_s']:.0f} s" if found["built_s"] else ""
    lines = [f"\n{found['schools']} schools, {found['rows']:,} rows{made}"]
    for page in [*slowest(found["pages"], 40), *found["background"]]:
        lines.append(
            f"  {page['name']:34} {page['who']:14} first {page['first_ms']:7.0f} ms, then {page['ms']:6.0f} ms, in the "
            f"database {page['sql_ms']:7.1f} ms, {page['questions']} questions, {page['rows']:7,} rows, {page['mb']} MB"
            + (f", whole: {', '.join(page['seq'])}" if page["seq"] else "")
        )
    for taken in found["migrations"]:
        locked = ", ".join(f"{table} {seconds} s" for table, seconds in taken["locked_s"].items()) or "none"
        lines.append(f"  {taken['name']:34} {taken['seconds']:6.1f} s, locked: {locked}")
    for each in found["year"]:
        lines.append(
            f"  {each['name']:44} {each['seconds']:7.1f} s, {each['queries']:,} questions, {each['most_mb']:.0f} MB, "
            f"waits to store a file: {each['other_waits_s']:.2f} s elsewhere, {each['own_waits_s']:.2f} s in the school"
        )
    return "\n".join(lines)
