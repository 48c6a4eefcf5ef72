"""Texts that remember how they were made."""

from __future__ import annotations

import copy
import pickle

import numpy as np
import pytest

from telling import as_data, chained, told


def test_a_text_is_the_filled_template_and_keeps_it():
    text = told("{value:.2f} mm{where}", value=2.954, where=told(" in {bad} of {count} holes", bad=1, count=4))
    assert text == "2.95 mm in 1 of 4 holes"
    assert as_data(text) == [
        "{value:.2f} mm{where}",
        {"value": 2.954, "where": [" in {bad} of {count} holes", {"bad": 1, "count": 4}]},
    ]


def test_a_text_from_elsewhere_stays_what_it_is():
    assert as_data("Voles") == "Voles"
    assert as_data(told("named {name}", name="Voles")) == ["named {name}", {"name": "Voles"}]


def test_values_it_does_not_name_are_left_out_and_a_missing_one_is_a_mistake():
    assert told("flat", value=1).values == {}
    with pytest.raises(KeyError):
        told("{value:.1f} mm", width=1)


def test_numbers_of_the_engine_become_plain_ones():
    text = told("{count} of {all:,}: {share:.1f}", count=np.int64(3), all=np.int32(12000), share=np.float32(0.25))
    assert text == "3 of 12,000: 0.2"
    assert [type(value) for value in text.values.values()] == [int, int, float]


def test_copies_and_pickles_keep_the_template():
    text = told("{count} holes", count=4)
    for other in (copy.deepcopy(text), pickle.loads(pickle.dumps(text))):
        assert as_data(other) == as_data(text)


def test_parts_in_a_row():
    assert chained(["a", "b", "c"]) == "a, b, c"
    assert chained(["a"]) == "a"
    assert chained(["a", "b"], "{first} and {rest}") == "a and b"
