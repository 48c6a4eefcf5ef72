"""The page of ten shapes agrees with the code, and the code with paper."""

from __future__ import annotations

import pytest

from tests.meshcheck.estimates_page import PAGE, ROWS, Row, figures, page


def test_the_page_is_what_the_code_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m tests.meshcheck.estimates_page"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_each_shape_agrees_with_paper(row: Row) -> None:
    found = figures(row)
    # polygons for circles are off by up to 3e-5; support is counted in columns, to half a percent
    assert found.used_g == pytest.approx(row.grams, rel=5e-3 if found.support_g else 5e-5)
    if row.minutes is not None:
        assert found.duration_s / 60 == pytest.approx(row.minutes, rel=1e-6)


def test_there_are_ten() -> None:
    assert len(ROWS) == 10
    assert sum(row.minutes is not None for row in ROWS) == 2
