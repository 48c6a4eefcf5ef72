"""The technicians' diary against a plain list of minutes."""

from __future__ import annotations

from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as st

from planning.bits import TABLE
from planning.calendar import StaffedMinutes, always_staffed
from planning.pins import empty_diary
from planning.schedule import solve
from planning.types import Stop
from planning.warmup import kernels
from tests.planning.rooms import random_room

SHORTEST = 3


def test_the_de_bruijn_table_has_every_bit_once() -> None:
    assert sorted(TABLE.tolist()) == list(range(64))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 120), st.integers(0, 120), st.integers(1, 3)), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 700), st.integers(SHORTEST, 90)), max_size=40),
)
def test_the_diary_agrees_with_a_list_of_minutes(
    parts: list[tuple[int, int, int]], wishes: list[tuple[int, int]]
) -> None:
    """Whatever is asked for, of any length of three minutes or more, is found at the first minute it is possible."""
    staffed, minute = [], 0
    for length, pause, staff in parts:
        staffed.append(StaffedMinutes(minute, minute + length, staff))
        minute += length + pause
    calendar = always_staffed(minute)
    object.__setattr__(calendar, "staffed", tuple(staffed))
    diary = empty_diary(calendar, 0, SHORTEST)
    free = [calendar.staff_at(at) for at in range(minute)]
    for wish, length in wishes:
        possible = (at for at in range(wish, minute - length + 1) if min(free[at : at + length]) > 0)
        expected = next(possible, None)
        assert diary.next_free(wish, length) == expected
        if expected is not None:
            assert diary.is_free(expected, length)
            diary.book(expected, length)
            for at in range(expected, expected + length):
                free[at] -= 1


def test_minutes_before_now_are_gone() -> None:
    diary = empty_diary(always_staffed(500), 130, 1)
    assert diary.next_free(0, 10) == 130
    assert not diary.is_free(129, 1)
    assert diary.next_free(495, 10) is None
    assert diary.next_free(500, 1) is None


def test_every_kernel_is_compiled_once_for_all() -> None:
    """After the warm-up no real room makes the compiler work again."""
    from planning import bits, decoder, packing, search, simulation

    calls: list[tuple[str, Callable[[], None]]] = list(kernels())
    for _, call in calls:
        call()
    for seed in range(3):
        solve(random_room(seed), Stop(iterations=5))
    for kernel in (bits.first_free, bits.book, decoder.decode, search.advance, packing.fill, simulation.simulate):
        assert len(kernel.signatures) == 1, kernel.py_func.__name__
