"""Component tags: words, shapes, figures with units, the ruler's geometry."""

from datetime import UTC, datetime
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template, TemplateSyntaxError
from django.test import RequestFactory
from django.utils import timezone, translation

from makerlab.components import figures, marks, ruler
from makerlab.components.chance import chance_squares
from makerlab.styleguide import SYMBOLS
from meshcheck.types import Level, Verdict
from printing.states import CopyState, Outcome, PlateState
from submissions.states import State

NB = "\u00a0"


def draw(source: str, **values) -> str:
    return Template(source).render(Context(values))


# --- figures ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mass_g", "text"),
    [
        (12.44, f"12.4{NB}g"),
        (0.04, f"0.0{NB}g"),
        (99.94, f"99.9{NB}g"),
        (99.96, f"100{NB}g"),
        (412.3, f"412{NB}g"),
        (999.4, f"999{NB}g"),
        (999.6, f"1.00{NB}kg"),
        (1234.0, f"1.23{NB}kg"),
        (0, f"0.0{NB}g"),
        (None, "not known"),
        (float("nan"), "not known"),
        (float("inf"), "not known"),
        ("no figure", "not known"),
    ],
)
def test_grams(mass_g, text):
    assert draw("{{ x|grams }}", x=mass_g) == text


@pytest.mark.parametrize(
    ("length_mm", "text"),
    [(3.2, f"3.20{NB}mm"), (9.994, f"9.99{NB}mm"), (9.996, f"10.0{NB}mm"), (60, f"60.0{NB}mm"), (None, "not known")],
)
def test_millimetres(length_mm, text):
    assert draw("{{ x|mm }}", x=length_mm) == text


def test_millimetres_with_given_decimals():
    assert draw("{{ x|mm:0 }}", x=59.6) == f"60{NB}mm"


@pytest.mark.parametrize(
    ("duration_s", "text"),
    [
        (0, "0 s"),
        (54, "54 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (89, "1 min"),
        (2280, "38 min"),
        (3570, "1 h"),
        (3600, "1 h"),
        (7680, "2 h 08 min"),
        (10080, "2 h 48 min"),
        (90000, "25 h"),
        (None, "not known"),
        (-5, "not known"),
    ],
)
def test_hours_and_minutes(duration_s, text):
    assert draw("{{ x|hm }}", x=duration_s) == text.replace(" ", NB if text[0].isdigit() else " ")


def test_times_are_in_school_time():
    moment = datetime(2026, 11, 17, 21, 10, tzinfo=UTC)  # 15:10 in Chicago: UTC-6 in November
    with timezone.override(ZoneInfo("America/Chicago")):
        assert draw("{{ x|clock }} {{ x|day_clock }}", x=moment) == f"15:10 Tue{NB}17{NB}Nov, 15:10"
    assert draw("{{ x|clock }}", x=None) == "not known"


def test_numbers_follow_the_language():
    with translation.override("de"):
        assert figures.grams(12.4) == f"12,4{NB}g"


def test_unknown_figure_is_never_a_zero():
    assert draw('{% figure x "g" "mass" %}', x=None).count("not known") == 1
    assert draw('{% figure_grams x "mass" %}{% figure_minutes x "time" %}', x=None).count("not known") == 2
    assert "not known" not in draw('{% figure x "g" "mass" %}', x=0)


def test_figure_keeps_number_and_unit_in_one_place():
    html = draw('{% figure 3.2 "mm" "hub hole" decimals=2 %}')
    assert html == '<div><dt>hub hole</dt><dd>3.20<span class="unit">mm</span></dd></div>'
    assert draw("{% minutes 8640 %}") == f'2<span class="unit">h</span>{NB}24<span class="unit">min</span>'


def test_text_from_people_is_escaped():
    html = draw("{% mark 'good' 's-pass' x %}{% strip_cell x x x %}{% banner 'bad' 's-fix' x x %}", x="<b>")
    assert "<b>" not in html
    assert html.count("&lt;b&gt;") == 6


# --- marks -----------------------------------------------------------------------------------------------------------


def test_every_state_has_a_mark():
    assert set(marks.VERDICTS) == {verdict.value for verdict in Verdict}
    assert set(marks.LEVELS) == {level.value for level in Level}
    assert set(marks.SUBMISSIONS) == set(State.values)
    assert set(marks.COPIES) == set(CopyState.values)
    assert set(marks.PLATES) == set(PlateState.values)
    assert set(marks.OUTCOMES) == set(Outcome.values)


@pytest.mark.parametrize("name", ["VERDICTS", "SUBMISSIONS", "COPIES", "PLATES", "OUTCOMES", "LEVELS", "CHECKS"])
def test_states_of_one_kind_differ_in_words_and_shapes_are_ours(name, settings):
    table = getattr(marks, name)
    sprite = (settings.BASE_DIR / "makerlab/static/makerlab/icons.svg").read_text()
    assert len({str(mark.text) for mark in table.values()}) == len(table)
    for mark in table.values():
        assert mark.kind in marks.KINDS
        assert f'id="{mark.icon}"' in sprite


def test_words_are_those_of_the_models():
    for table, choices in ((marks.SUBMISSIONS, State), (marks.COPIES, CopyState), (marks.OUTCOMES, Outcome)):
        assert {key: str(mark.text) for key, mark in table.items()} == {c.value: str(c.label) for c in choices}


def test_submission_mark_tells_of_the_check_first():
    def drawn(**values):
        return draw("{% submission_mark x %}", x=SimpleNamespace(**values))

    assert "checking" in drawn(check_state="checking", state="draft")
    assert "could not be checked" in drawn(check_state="failed", state="handed_in")
    assert "sent back" in drawn(check_state="checked", state="returned")


def test_copy_in_tray_names_the_tray():
    assert "in tray 7" in draw('{% copy_mark "in_tray" tray=7 %}')
    assert "in the tray" in draw('{% copy_mark "in_tray" %}')
    assert "tray" not in draw('{% copy_mark "printing" tray=7 %}')


def test_no_verdict_is_not_checked():
    assert "not checked" in draw("{% verdict_mark x %}", x="")


def test_mark_refuses_an_unknown_kind():
    with pytest.raises(TemplateSyntaxError):
        draw('{% mark "red" "s-pass" "x" %}')


def test_sprite_and_style_guide_hold_the_same_symbols(settings):
    import re

    sprite = (settings.BASE_DIR / "makerlab/static/makerlab/icons.svg").read_text()
    assert re.findall(r'<symbol id="([^"]+)"', sprite) == SYMBOLS


# --- ruler -----------------------------------------------------------------------------------------------------------


def scale(value, low, high, decimals=2):
    return {"value": value, "low": low, "high": high, "unit": "mm", "decimals": decimals}


CASES = [
    scale(2.95, 3.15, 3.30),
    scale(3.2, 3.15, 3.30),
    scale(81.28, 3.15, 3.30),
    scale(0.126, 3.15, 3.30),
    scale(6.3, None, 4.0),
    scale(0.0, None, 4.0),
    scale(0.5, 0.8, None),
    scale(-2.0, None, 1.0),
    scale(1234.5, None, 5.0),
    scale(5.0, 5.0, 5.0),
    scale(1e-7, None, 1e-6),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['value']} in {case['low']}..{case['high']}")
def test_ruler_holds_value_and_band_and_tells_them_apart(case):
    drawn = ruler.build(case)
    assert drawn is not None
    assert ruler.LEFT <= drawn.mark_x <= ruler.RIGHT
    assert drawn.band_x >= ruler.LEFT
    assert drawn.band_x + drawn.band_width <= ruler.RIGHT + 2
    labels = [tick.label for tick in drawn.ticks if tick.label]
    assert 3 <= len(labels) <= ruler.LABELS_MAX + 2
    assert len(set(labels)) == len(labels)
    low = -1e9 if case["low"] is None else case["low"]
    high = 1e9 if case["high"] is None else case["high"]
    inside = drawn.band_x - 0.1 <= drawn.mark_x <= drawn.band_x + drawn.band_width + 0.1
    if low <= case["value"] <= high:
        assert inside
    elif abs(case["value"] - (low if case["value"] < low else high)) > 0.05 * abs(case["value"]):
        assert not inside


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['value']} in {case['low']}..{case['high']}")
def test_ruler_is_true_to_scale(case):
    """Marks stand where the labels say: interpolate the value back from the drawn positions."""
    drawn = ruler.build(case)
    first, last = drawn.ticks[0], drawn.ticks[-1]
    start, end = float(first.label.replace(",", "")), float(last.label.replace(",", ""))
    read = start + (drawn.mark_x - first.x) / (last.x - first.x) * (end - start)
    assert read == pytest.approx(case["value"], abs=0.001 * (end - start))


def test_ruler_labels_do_not_collide_nor_leave_the_drawing():
    for case in CASES:
        drawn = ruler.build(case)
        half = len(drawn.mark_label) * ruler.LETTER / 2
        assert half - 0.1 <= drawn.mark_label_x <= 300 - half + 0.1
        apart = abs(drawn.mark_label_x - drawn.band_label_x) >= half + 7 * ruler.LETTER / 2
        assert apart or drawn.band_label_y < 18


@pytest.mark.parametrize(
    "case",
    [None, scale(None, 1, 2), scale(float("nan"), 1, 2), scale(1.0, None, None)],
    ids=["none", "no value", "nan", "no limit"],
)
def test_no_ruler_without_figure_and_limit(case):
    assert draw("{% ruler x %}", x={"level": "advice", "scale": case}).strip() == ""


def test_ruler_speaks():
    html = draw("{% ruler x %}", x={"level": "must_fix", "scale": scale(2.95, 3.15, 3.3)})
    assert f'aria-label="2.95{NB}mm. Allowed from 3.15 to 3.30 mm."' in html
    assert 'class="in-bad"' in html
    assert "Allowed up to 4.00" in ruler.build(scale(6.3, None, 4.0)).description
    assert "Allowed from 0.80" in ruler.build(scale(0.5, 0.8, None)).description


def test_ruler_positions_are_never_localised():
    with translation.override("de"):
        html = draw("{% ruler x %}", x={"level": "must_fix", "scale": scale(2.95, 3.15, 3.3)})
        assert ">3,1<" in html  # what is read
    import re

    assert not re.search(r'(?:x|width)="\d+,\d', html)  # what is drawn


# --- cards -----------------------------------------------------------------------------------------------------------


def finding(level: str, **values) -> dict:
    return {"code": "x", "level": level, "title": "The hub", "figure": "2.95 mm", "scale": None, **values}


@pytest.mark.parametrize(("level", "word"), [("must_fix", "Must fix"), ("advice", "Advice")])
def test_finding_says_level_why_and_mend(level, word):
    html = draw("{% finding_card x %}", x=finding(level, why="It jams.", mend="Widen it.", limit_source="a handbook"))
    for text in (word, "The hub", "2.95 mm", "It jams.", "Widen it.", "a handbook"):
        assert text in html


def test_passing_finding_is_short():
    html = draw("{% finding_card x %}", x=finding("passes", why="", mend=""))
    assert "<dl>" not in html
    assert "2.95 mm" in html


def test_steps_say_their_state_in_words():
    html = draw("{% steps x %}", x=[{"state": s, "title": s, "note": "n"} for s in ("done", "now", "next", "bad")])
    assert html.count('aria-current="step"') == 1
    for word in ("(done)", "(now)", "(still to come)", "(needs you)"):
        assert word in html


def test_drop_zone_carries_the_token_though_included_alone():
    request = RequestFactory().get("/")
    template = Template('{% include "parts/drop.html" with action="/parts/1/" hidden=more only %}')
    from django.template import RequestContext

    html = template.render(RequestContext(request, {"more": {"kit_part": 3}}))
    token = html.split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
    assert len(token) == 64
    assert 'enctype="multipart/form-data"' in html
    assert '<input type="hidden" name="kit_part" value="3">' in html
    assert 'type="file"' in html
    assert 'type="submit"' in html


@pytest.mark.parametrize(
    ("in_100", "full", "part", "low"),
    [(0, 0, 0, True), (58, 5, 12.8, True), (70, 7, 0, False), (91, 9, 1.6, False), (100, 10, 0, False)],
)
def test_a_chance_fills_its_squares(in_100, full, part, low):
    shown = chance_squares(in_100)
    widths = [width for _x, width in shown.squares]
    assert widths[:full] == [16.0] * full
    assert sum(widths) == pytest.approx(16 * full + part)
    assert shown.low is low
