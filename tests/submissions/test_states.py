"""The transition table: every state x step, and what a step that is not possible says."""

from __future__ import annotations

import pytest

from submissions.states import TRANSITIONS, NotAllowedNow, State, after

STEPS = sorted({step for _, step in TRANSITIONS})


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("state", State.values)
def test_every_state_and_step(state, step):
    if (state, step) in TRANSITIONS:
        assert after(state, step) == TRANSITIONS[(state, step)]
    else:
        with pytest.raises(NotAllowedNow, match="so that cannot be done"):
            after(state, step)


def test_from_every_start_the_teacher_can_be_reached_only_by_handing_in():
    into_review = {state for (state, step), new in TRANSITIONS.items() if new == State.HANDED_IN}
    assert into_review == {State.DRAFT, State.APPROVED}
    assert TRANSITIONS[State.APPROVED, "undo"] == State.HANDED_IN  # the teacher's own way back


def test_what_is_sent_back_or_replaced_stays_so():
    leaving = {state for state, _ in TRANSITIONS}
    assert leaving.isdisjoint({State.RETURNED, State.REPLACED})
