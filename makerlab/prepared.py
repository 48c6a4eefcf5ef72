"""Questions asked with every page, put into SQL once: making the SQL takes Django several times as long as SQLite takes
to answer. The rows come as from any question, objects with what stands beside them or tuples."""

from __future__ import annotations

from collections.abc import Callable
from functools import update_wrapper
from threading import local
from typing import Any, Generic, TypeVar

from django.db import connections, models

Row = TypeVar("Row")
Value = int | str
KEY_MAX = 2**63 - 1
# Stand-ins for what is asked for, two sets of them: whatever else differs between the two texts would stay as it was.
# The numbers fit a column of 16 bits, so that no comparison with them is found empty; the text is not found again where
# a comparison rewrites it (a pattern, another case), and is refused so.
NUMBERS, TEXT = (30_100, 32_100), r"What is asked for, 100 %_\ in place {}"


class Prepared(Generic[Row]):
    """A question as a function of keys and texts, answered as a list.

    ``make`` gives the rows asked for. It is called once for each connection, with stand-ins: it may hand its arguments
    on to filters and must do nothing else with them. What depends on them otherwise (a person's role) is a question of
    its own. Raises ValueError where an argument is not found in the SQL as it is (a text compared as a pattern, or in
    any case, is rewritten by Django each time), and where anything else in it changes from one time to the next, as the
    moment does. A number that no key can be finds nothing."""

    def __init__(self, make: Callable[..., models.QuerySet[Any, Row]]) -> None:
        self.make = make
        update_wrapper(self, make)

    def __call__(self, *values: Value) -> list[Row]:
        if any(isinstance(value, int) and abs(value) > KEY_MAX for value in values):
            return []
        kept = vars(connections["default"]).setdefault("makerlab_prepared", {})
        question = kept.get(self)
        if question is None:
            question = kept[self] = _Question(self.make, values)
        found: list[Row] = question.ask(values)
        return found

    def first(self, *values: Value) -> Row | None:
        """The first row of the answer; the question itself should ask for no more."""
        return next(iter(self(*values)), None)


def _stand_in(base: int, at: int, value: Value) -> Value:
    return base + at if isinstance(value, int) else TEXT.format(base + at)


class _Question:
    """The compiled question of one connection. Threads of a test server share one: each asks with its own values."""

    def __init__(self, make: Callable[..., Any], values: tuple[Value, ...]) -> None:
        of_both = [[_stand_in(base, at, value) for at, value in enumerate(values)] for base in NUMBERS]
        rows, again = (make(*stand_ins) for stand_ins in of_both)
        query = rows.query
        self.rows = rows
        self.compiler: Any = query.get_compiler(rows.db)
        self.sql, self.fixed = self.compiler.as_sql()
        sql_again, fixed_again = again.query.get_compiler(rows.db).as_sql()
        pairs = list(zip(self.fixed, fixed_again, strict=True))
        asked = list(zip(*of_both, strict=True))
        self.at = [(place, asked.index(pair)) for place, pair in enumerate(pairs) if pair in asked]
        fixed = all(one == other for one, other in pairs if (one, other) not in asked)
        used = {at for _place, at in self.at} == set(range(len(values)))
        if not (used and fixed and self.sql == sql_again) or rows._prefetch_related_lookups:
            raise ValueError(f"{getattr(make, '__name__', make)} cannot be prepared")
        self.asked = local()
        self.compiler.as_sql = self.as_sql
        query.get_compiler = lambda *_args, **_settings: self.compiler

    def as_sql(self, *_args: Any, **_settings: Any) -> tuple[str, tuple[Any, ...]]:
        """What the compiler is asked for each time: its SQL, with the values of this time."""
        bound = list(self.fixed)
        for place, at in self.at:
            bound[place] = self.asked.values[at]
        return self.sql, tuple(bound)

    def ask(self, values: tuple[Value, ...]) -> list[Any]:
        self.asked.values = values
        found: list[Any] = list(self.rows._iterable_class(self.rows))
        return found
