"""3MF packages, sound and hostile, made by code when the tests run."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Sequence

import numpy as np

from meshcheck.types import Unit
from tests.meshcheck.badfiles import BadFile
from tests.meshcheck.parts import box, mesh_of

CONTENT_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
RELATIONSHIPS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="r0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
CORE = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'
PRODUCTION = 'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"'
LATTICE = 'requiredextensions="b" xmlns:b="http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"'

Members = Sequence[tuple[str, str]]


def mesh_xml() -> str:
    cube = mesh_of(box(20, 20, 20))
    corners = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in cube.vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in cube.faces.tolist())
    return f"<mesh><vertices>{corners}</vertices><triangles>{faces}</triangles></mesh>"


CUBE = f'<object id="1" type="model">{mesh_xml()}</object>'
ITEM = '<item objectid="1"/>'


def model(resources: str = CUBE, build: str = ITEM, doctype: str = "", more: str = "", attributes: str = "") -> str:
    unit = "" if "unit=" in attributes else 'unit="millimeter"'
    return (
        f'<?xml version="1.0"?>{doctype}<model {unit} {CORE} {attributes}>{more}'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )


def package(xml: str | bytes, more: Members = (), method: int = zipfile.ZIP_DEFLATED) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", method) as archive:
        archive.writestr("[Content_Types].xml", CONTENT_TYPES)
        archive.writestr("_rels/.rels", RELATIONSHIPS)
        archive.writestr("3D/3dmodel.model", xml)
        for name, content in more:
            archive.writestr(name, content)
    return target.getvalue()


def chain(levels: int, uses: int) -> tuple[str, str]:
    """Objects 2..levels + 1, each using the one before several times; and the item that starts it."""
    resources = CUBE + "".join(
        f'<object id="{level}" type="model"><components>{f"<component objectid={chr(34)}{level - 1}{chr(34)}/>" * uses}'
        "</components></object>"
        for level in range(2, levels + 2)
    )
    return resources, f'<item objectid="{levels + 1}"/>'


def assembly(*components: str) -> str:
    return f'{CUBE}<object id="2" type="model"><components>{"".join(components)}</components></object>'


def _bomb() -> bytes:
    blanks = " " * (64 * 2**20)
    return package(model(more=blanks))


def _forged_bomb() -> bytes:
    """The same bomb, its directory claiming that it unpacks to 2,000 bytes."""
    data = bytearray(_bomb())
    entry = data.rfind(b"PK\x01\x02", 0, data.rfind(b"3D/3dmodel.model"))
    data[entry + 24 : entry + 28] = (2000).to_bytes(4, "little")
    return bytes(data)


def _locked() -> bytes:
    data = bytearray(package(model()))
    entry = data.rfind(b"PK\x01\x02", 0, data.rfind(b"3D/3dmodel.model"))
    data[entry + 8] |= 1
    return bytes(data)


def _damaged() -> bytes:
    data = bytearray(package(model(), method=zipfile.ZIP_STORED))
    at = data.index(b"vertices")
    data[at + 30] ^= 1
    return bytes(data)


def _packed_letter() -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("wheel.stl", "solid x\nendsolid x\n")
    return target.getvalue()


def _twice_the_same_name() -> bytes:
    with_warning = io.BytesIO()
    with zipfile.ZipFile(with_warning, "w") as archive:
        archive.writestr("3D/3dmodel.model", model())
        archive.writestr("/3D/3dmodel.model", model())
    return with_warning.getvalue()


def _laughs() -> str:
    levels = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    return model(doctype=f'<!DOCTYPE m [<!ENTITY l0 "lol">{levels}]>', more='<metadata name="Title">&l9;</metadata>')


def _swelling() -> str:
    """One entity of 100,000 letters used 20,000 times: 2 GB without any nesting."""
    doctype = f'<!DOCTYPE m [<!ENTITY a "{"A" * 100_000}">]>'
    return model(doctype=doctype, more=f'<metadata name="Title">{"&a;" * 20_000}</metadata>')


def _flood_of_corners(count: int) -> bytes:
    """More corners than any part has, all different enough to pack no better than an honest file."""
    rng = np.random.default_rng(8)
    some = "".join(f'<vertex x="{x:.3f}" y="{y:.3f}" z="{z:.3f}"/>' for x, y, z in rng.uniform(0, 99, (50_000, 3)))
    return package(model(f'<object id="1"><mesh><vertices>{some * (count // 50_000)}</vertices></mesh></object>'))


def _flood_of_one_corner() -> bytes:
    corners = '<vertex x="0" y="0" z="0"/>' * 3_000_000
    return package(model(f'<object id="1"><mesh><vertices>{corners}</vertices></mesh></object>'))


def _xxe(target: str) -> str:
    doctype = f'<!DOCTYPE m [<!ENTITY x SYSTEM "{target}">]>'
    return model(doctype=doctype, more='<metadata name="Title">&x;</metadata>')


def _shuffled() -> str:
    return re.sub(r'(x="[^"]*") (y="[^"]*") (z="[^"]*")', r"\3 \1 \2", model()).replace(
        "<triangle ", '<triangle pid="9" '
    )


def sound_packages() -> list[BadFile]:
    cube = {"watertight": True, "faces": 12, "volume_mm3": 8_000.0}
    two = {"bodies": 2, "objects": 2, "overlapping_bodies": False, "volume_mm3": 16_000.0}
    moved = '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 30 0 0"/>'
    mirrored = '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    touching = '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 20 0 0"/>'
    other_part = f'<?xml version="1.0"?><model unit="inch" {CORE}><resources>{CUBE}</resources><build/></model>'
    by_path = '<object id="2"><components><component objectid="1" p:path="/3D/o.model"/></components></object>'
    support = CUBE.replace('id="1" type="model"', 'id="7" type="support"')
    return [
        BadFile("3mf", lambda: package(model()), expect=cube | {"unit": Unit.MILLIMETRE}),
        BadFile("3mf, no unit said", lambda: package(model(attributes='xml:lang="unit=" ')), expect=cube),
        BadFile(
            "3mf, inches",
            lambda: package(model(attributes='unit="inch"')),
            expect={"unit": Unit.INCH, "volume_mm3": 8_000 * 25.4**3},
        ),
        BadFile("3mf, attributes in another order", lambda: package(_shuffled()), expect=cube),
        BadFile("3mf, UTF-16", lambda: package(model().encode("utf-16")), expect=cube),
        BadFile(
            "3mf, two items",
            lambda: package(model(build=ITEM + ITEM.replace("/>", ' transform="1 0 0 0 1 0 0 0 1 0 0 50"/>'))),
            expect=two,
        ),
        BadFile(
            "3mf, components",
            lambda: package(model(assembly('<component objectid="1"/>', moved), '<item objectid="2"/>')),
            expect=two,
        ),
        BadFile(
            "3mf, mirrored component",
            lambda: package(model(assembly('<component objectid="1"/>', mirrored), '<item objectid="2"/>')),
            expect=two | {"turned_bodies": 0},
        ),
        BadFile(
            "3mf, objects face to face",
            lambda: package(model(assembly('<component objectid="1"/>', touching), '<item objectid="2"/>')),
            expect=two | {"crowded_edges": 0},
        ),
        BadFile(
            "3mf, part in another file, in inches",
            lambda: package(
                model(by_path, '<item objectid="2"/>', attributes=f'{PRODUCTION} requiredextensions="p"'),
                [("3D/o.model", other_part)],
            ),
            expect={"volume_mm3": 8_000 * 25.4**3, "unit": Unit.MILLIMETRE},
        ),
        BadFile(
            "3mf, support beside the part",
            lambda: package(model(CUBE + support, ITEM + '<item objectid="7"/>')),
            expect=cube,
            note="skipped_objects",
        ),
    ]


def hostile_packages() -> list[BadFile]:
    def component_case(name: str, levels: int, uses: int, code: str) -> BadFile:
        return BadFile(name, lambda: package(model(*chain(levels, uses))), code)

    use_two = '<item objectid="2"/>'
    circle = (
        CUBE + '<object id="2"><components><component objectid="3"/></components></object>'
        '<object id="3"><components><component objectid="2"/><component objectid="1"/></components></object>'
    )
    itself = assembly('<component objectid="2"/>')
    cases: list[tuple[str, Callable[[], bytes], str]] = [
        ("3mf, entity names a file", lambda: package(_xxe("file:///etc/hostname")), "xml_unsafe"),
        ("3mf, entity names an address", lambda: package(_xxe("http://127.0.0.1:9/")), "xml_unsafe"),
        ("3mf, a thousand million laughs", lambda: package(_laughs()), "xml_unsafe"),
        ("3mf, an entity used 20,000 times", lambda: package(_swelling()), "xml_unsafe"),
        ("3mf, far too many corners", lambda: _flood_of_corners(1_600_000), "too_many_corners"),
        ("3mf, one corner three million times", _flood_of_one_corner, "archive_bomb"),
        ("3mf, bare document type", lambda: package(model(doctype="<!DOCTYPE model>")), "xml_unsafe"),
        ("3mf, bomb of blanks", _bomb, "archive_bomb"),
        ("3mf, bomb with forged size", _forged_bomb, "archive_broken"),
        ("3mf, relationships with entity", _unsafe_relationships, "xml_unsafe"),
        ("3mf, part uses itself", lambda: package(model(itself, use_two)), "nested_too_deep"),
        ("3mf, parts in a circle", lambda: package(model(circle, use_two)), "nested_too_deep"),
        ("3mf, name climbs out", lambda: package(model(), [("../../../etc/x", "x")]), "archive_unsafe"),
        ("3mf, name with a drive", lambda: package(model(), [("C:/x", "x")]), "archive_unsafe"),
        ("3mf, corner out of range", lambda: package(model().replace('v1="1"', 'v1="99999"')), "bad_index"),
        ("3mf, negative corner", lambda: package(model().replace('v1="1"', 'v1="-1"')), "bad_index"),
        ("3mf, corner beyond all numbers", lambda: package(model().replace('v1="1"', f'v1="{10**30}"')), "bad_index"),
        ("3mf, corner without z", lambda: package(model().replace("z=", "w=", 1)), "xml_broken"),
        ("3mf, letters for numbers", lambda: package(model().replace('x="0.0"', 'x="abc"', 1)), "xml_broken"),
        ("3mf, not a number", lambda: package(model().replace('x="0.0"', 'x="nan"', 1)), "not_finite"),
        ("3mf, not XML", lambda: package("hello"), "xml_broken"),
        ("3mf, XML cut off", lambda: package(model()[:600]), "xml_broken"),
        ("3mf, other XML", lambda: package("<a/>"), "xml_broken"),
        ("3mf, odd encoding", lambda: package(model().replace("?>", ' encoding="x-none"?>', 1)), "xml_broken"),
        ("3mf, same number twice", lambda: package(model(CUBE + CUBE)), "xml_broken"),
        ("3mf, 2,000 members", lambda: package(model(), [(f"x/{i}", "") for i in range(2_000)]), "archive_bomb"),
        ("3mf, 20,000 members", lambda: package(model(), [(f"x/{i}", "") for i in range(20_000)]), "archive_bomb"),
        ("3mf, locked", _locked, "archive_locked"),
        ("3mf, damaged content", _damaged, "archive_broken"),
        ("3mf, cut off", lambda: package(model())[:-100], "archive_broken"),
        ("3mf, packed otherwise", lambda: package(model(), method=zipfile.ZIP_BZIP2), "archive_broken"),
        ("3mf, one name twice", _twice_the_same_name, "archive_broken"),
        ("3mf, an STL in a zip", _packed_letter, "no_model"),
        ("3mf, unknown unit", lambda: package(model(attributes='unit="cubit"')), "bad_unit"),
        ("3mf, missing part", lambda: package(model(build='<item objectid="9"/>')), "bad_reference"),
        (
            "3mf, missing file",
            lambda: package(model(build='<item objectid="1" p:path="/3D/no.model"/>', attributes=PRODUCTION)),
            "bad_reference",
        ),
        ("3mf, empty build", lambda: package(model(build="")), "no_faces"),
        (
            "3mf, eleven numbers",
            lambda: package(model(build='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0"/>')),
            "bad_transform",
        ),
        (
            "3mf, flattened",
            lambda: package(model(build='<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>')),
            "bad_transform",
        ),
        (
            "3mf, transform of words",
            lambda: package(model(build='<item objectid="1" transform="a"/>')),
            "bad_transform",
        ),
        ("3mf, lattice", lambda: package(model(attributes=LATTICE)), "needs_extension"),
    ]
    return [
        *(BadFile(name, make, code) for name, make, code in cases),
        component_case("3mf, ten million copies", 7, 10, "too_many_copies"),
        component_case("3mf, four thousand copies in one place", 2, 64, "too_many_bodies"),
        BadFile("3mf, a thousand copies of a large part", _large_chain, "too_many_faces"),
        component_case("3mf, forty levels", 40, 1, "nested_too_deep"),
        BadFile("3mf, copies of nothing", lambda: package(model(*_empty_chain())), "too_many_copies"),
    ]


def _unsafe_relationships() -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("_rels/.rels", '<!DOCTYPE r [<!ENTITY a "b">]>' + RELATIONSHIPS.split("?>")[1])
        archive.writestr("3D/3dmodel.model", model())
    return target.getvalue()


def _large_chain() -> bytes:
    resources, item = chain(3, 10)
    start, stop = resources.index("<triangles>") + 11, resources.index("</triangles>")
    return package(model(resources[:stop] + resources[start:stop] * 50 + resources[stop:], item))


def _empty_chain() -> tuple[str, str]:
    resources, item = chain(9, 10)
    return resources.replace(mesh_xml(), ""), item


def every_package() -> list[BadFile]:
    return [*sound_packages(), *hostile_packages()]
