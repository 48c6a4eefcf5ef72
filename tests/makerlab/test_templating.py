"""Templates are sent without their indentation, and nothing that is read as written is among them."""

from __future__ import annotations

import re

import pytest
from django.template import TemplateDoesNotExist, TemplateSyntaxError, engines
from django.template.loader import get_template
from django.urls import reverse
from django.utils.translation import override

from tests.makerlab.test_house import ROOT

FILES = [path for folder in ("makerlab", "lessons", "queue") for path in (ROOT / folder).rglob("templates/**/*.html")]


@pytest.mark.django_db
def test_no_line_of_a_page_begins_with_blanks(client):
    page = client.get(reverse("accounts:sign-in")).content.decode()
    assert "<main" in page
    indented = re.findall(r"\n[ \t]+\S.*", page)
    assert indented == []


def test_a_message_tag_over_several_lines_keeps_its_text():
    """A tag that is not trimmed is looked up by its very letters, so its lines must not be touched: there is none."""
    untrimmed = re.compile(
        r"{%\s*blocktranslate(?![^%]*\btrimmed\b)[^%]*%}(?:(?!{%\s*endblocktranslate).)*?\n", re.DOTALL
    )
    assert [path.name for path in FILES if untrimmed.search(path.read_text())] == []


@pytest.mark.parametrize("tag", ["pre", "textarea"])
def test_what_is_shown_with_its_blanks_stands_in_one_line(tag: str):
    over_lines = re.compile(rf"<{tag}\b(?:(?!</{tag}).)*\n", re.DOTALL)
    assert len(FILES) > 100
    assert [path.name for path in FILES if over_lines.search(path.read_text())] == []


def test_an_error_still_names_its_line(tmp_path):
    from makerlab.templating import INDENTED

    source = "<p>\n    one\n    {% nosuchtag %}\n</p>"
    with pytest.raises(TemplateSyntaxError) as raised:
        engines["django"].from_string(INDENTED.sub("\n", source))
    assert raised.value.token.lineno == 3


def test_partials_are_found_and_a_missing_page_is_told():
    assert get_template("submissions/submission_report.html#live")
    with pytest.raises(TemplateDoesNotExist):
        get_template("submissions/no-such-page.html")


def test_what_is_kept_is_made_once_for_each_language_and_knows_nobody():
    text = "{% load i18n kept %}{% kept %}{% translate 'Sign out' %} {{ name }}{% csrf_input %}{% endkept %} {{ name }}"
    template = engines["django"].from_string(text)
    for language, words in (("en", "Sign out"), ("es", "Salir"), ("en", "Sign out")):
        with override(language):
            for name in ("Ada", "Bo"):
                shown = template.render({"name": name, "csrf_token": f"token of {name}"})
                assert shown.startswith(f"{words} <input")
                assert shown.endswith(f"> {name}")
                assert shown.count(name) == 1
