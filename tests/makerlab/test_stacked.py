"""Stacked tables, read with lxml: the names of columns stand at their cells, and nothing else of the page changes."""

from __future__ import annotations

import lxml.html
from django.template import Context, Template

from makerlab.components.stacked import stacked

TABLE = """<div class="table long-names" role="region" tabindex="0"><table><caption>Days</caption>
<thead><tr><th scope="col" rowspan="2">Day</th><th colspan="2">Parts</th><th rowspan="2">Say "no" &amp; go</th></tr>
<tr><th>wanted</th><th class="num">in the <b>tray</b></th></tr></thead>
<tbody><tr class="chosen"><th scope="row"><a href="/a">Mon</a></th><td>4</td><td class="num">2</td><td>x</td></tr>
<tr><td colspan="2">none</td><td>0</td><td></td></tr></tbody></table></div>"""


def test_each_cell_is_told_its_column():
    box = lxml.html.fromstring(stacked(TABLE))
    assert box.get("class") == "table stacks long-names"
    first, second = box.xpath("//tbody/tr")
    assert [cell.get("data-label") for cell in first] == [
        None,
        "Parts, wanted",
        "Parts, in the tray",
        'Say "no" & go',
    ]
    assert [cell.get("data-label") for cell in second] == [None, "Parts, in the tray", 'Say "no" & go']


def test_each_part_says_what_it_is():
    box = lxml.html.fromstring(stacked(TABLE))
    assert {part.get("role") for part in box.xpath("//thead//th")} == {"columnheader"}
    assert [part.get("role") for part in box.xpath("//tbody/tr[1]/*")] == ["rowheader", "cell", "cell", "cell"]
    roles = {part.tag: part.get("role") for part in box.xpath("//table | //thead | //tbody | //tr")}
    assert roles == {"table": "table", "thead": "rowgroup", "tbody": "rowgroup", "tr": "row"}


def test_nothing_else_changes():
    before, after = lxml.html.fromstring(TABLE), lxml.html.fromstring(stacked(TABLE))
    for part in after.iter():
        for name in ("data-label", "role"):
            part.attrib.pop(name, None)
    before.attrib.pop("role")
    after.set("class", "table long-names")
    assert lxml.html.tostring(after) == lxml.html.tostring(before)
    assert stacked(stacked(TABLE)) == stacked(TABLE)


def test_the_tag_stacks_what_stands_in_it():
    page = Template(
        '{% stacks %}<div class="table"><table><thead><tr><th>A</th><th>{{ name }}</th></tr></thead>'
        "<tbody><tr><td>1</td><td>2</td></tr></tbody></table></div>{% endstacks %}"
    ).render(Context({"name": '<b onclick="x">'}))
    assert [cell.get("data-label") for cell in lxml.html.fromstring(page).xpath("//tbody//td")] == [
        None,
        '<b onclick="x">',
    ]
