"""The XML inside a 3MF package, parsed as a stream: no document type, no entities, counts capped while reading.

The standard library's expat is used directly: refusing the document type declaration at its first character is what
defusedxml does too, and corners go straight into arrays instead of half a million element objects.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import NoReturn
from xml.parsers import expat

import numpy as np

from meshcheck.reading.gate import MAX_FACES, rejected
from meshcheck.types import FloatArray, IntArray, Unit
from telling import told

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
# These add names, colours or labels and leave the mesh as it is.
_HARMLESS = {
    CORE,
    PRODUCTION,
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
}
_UNITS = {
    "micron": Unit.MICRON,
    "millimeter": Unit.MILLIMETRE,
    "centimeter": Unit.CENTIMETRE,
    "inch": Unit.INCH,
    "foot": Unit.FOOT,
    "meter": Unit.METRE,
}

MAX_COPIES = 10_000
_CORNERS_MAX = MAX_FACES  # a closed mesh has half as many corners as faces (Euler), a wasteful one some more

_VERTEX, _TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"
_PLACE_NAMES, _INDEX_NAMES = ["x", "y", "z"], ["v1", "v2", "v3"]

Attributes = dict[str, str]


@dataclass(frozen=True, slots=True, eq=False)
class Use:
    """One use of an object: by a component or a build item. ``part_name`` is the package part it lives in, if told."""

    object_id: str
    part_name: str | None
    matrix: FloatArray  # (4, 3): a point p becomes p @ matrix[:3] + matrix[3]


@dataclass(slots=True, eq=False)
class ModelObject:
    """One object resource: a mesh (vertices (v, 3), triangles (t, 3)), or uses of other objects."""

    kind: str
    vertices: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    triangles: IntArray = field(default_factory=lambda: np.zeros((0, 3), np.int32))
    uses: list[Use] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class Model:
    """One model part: its unit, its objects by id, and what the build asks for."""

    unit: Unit = Unit.MILLIMETRE
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Use] = field(default_factory=list)


def parse_model(chunks: Iterable[bytes]) -> Model:
    """Parse one model part. Raises MeshRejected: xml_unsafe, xml_broken, bad_unit, bad_index, needs_extension, caps."""
    parser = _ModelParser()
    _parse(parser.collected(chunks), parser.start_handler(), parser.namespace)
    parser.end_object()
    if not parser.seen_model:
        raise rejected("xml_broken", found=told("it holds no 3MF model"))
    return parser.model


def parse_relationships(chunks: Iterable[bytes]) -> str | None:
    """The package part named as the 3D model by ``_rels/.rels``; None when none is."""
    targets: list[str] = []

    def start(name: str, listed: list[str]) -> None:
        attributes = _named(listed)
        if name.endswith(" Relationship") and attributes.get("Type", "").endswith("/3dmodel"):
            targets.append(attributes.get("Target", ""))

    _parse(chunks, start, lambda prefix, uri: None)
    return targets[0] if targets else None


def _parse(
    chunks: Iterable[bytes],
    start: Callable[[str, list[str]], None],
    namespace: Callable[[str | None, str], None],
) -> None:
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.ordered_attributes = True
    parser.StartElementHandler = start
    parser.StartNamespaceDeclHandler = namespace
    parser.StartDoctypeDeclHandler = _refuse
    parser.EntityDeclHandler = _refuse
    parser.ExternalEntityRefHandler = _refuse
    try:
        for chunk in chunks:
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise rejected("xml_broken", found=told("line {line} is not proper XML", line=error.lineno)) from error
    except KeyError as error:
        raise rejected(
            "xml_broken", found=told("line {line} lacks {name}", line=parser.CurrentLineNumber, name=str(error.args[0]))
        ) from error
    except OverflowError as error:
        raise rejected("bad_index", index="(far too large)", corners="fewer") from error
    except (ValueError, LookupError) as error:  # not a number, or an encoding nobody knows
        raise rejected(
            "xml_broken", found=told("line {line} has something that is no number", line=parser.CurrentLineNumber)
        ) from error


def _named(listed: list[str]) -> Attributes:
    """Attributes by name from expat's flat list of names and values."""
    return dict(zip(listed[::2], listed[1::2], strict=True))


def _refuse(*_: object) -> NoReturn:
    raise rejected("xml_unsafe")


class _ModelParser:
    """Expat handlers that fill a Model."""

    def __init__(self) -> None:
        self.model = Model()
        self.seen_model = False
        self._prefixes: dict[str, str] = {}
        self._object: ModelObject | None = None
        self._object_id = ""
        self._corners = array("d")
        self._faces = array("q")
        self._corner_words: list[str] = []  # read, not yet turned into numbers
        self._face_words: list[str] = []
        self._corner_count = 0
        self._face_count = 0
        self._use_count = 0
        self._handlers: dict[str, Callable[[Attributes], None]] = {
            f"{CORE} model": self._start_model,
            f"{CORE} object": self._start_object,
            f"{CORE} component": self._component,
            f"{CORE} build": self._start_build,
            f"{CORE} item": self._item,
        }

    def start_handler(self) -> Callable[[str, list[str]], None]:
        """Expat's handler: corners and faces are only collected here, as this runs once for each of them."""
        collect_corner, collect_face = self._corner_words.extend, self._face_words.extend

        def start(name: str, listed: list[str]) -> None:
            if name == _TRIANGLE:
                collect_face(listed if len(listed) == 6 else _in_order(listed, _INDEX_NAMES))
            elif name == _VERTEX:
                collect_corner(listed if len(listed) == 6 else _in_order(listed, _PLACE_NAMES))
            elif name in self._handlers:
                self._handlers[name](_named(listed))

        return start

    def namespace(self, prefix: str | None, uri: str) -> None:
        self._prefixes[prefix or ""] = uri

    def _start_model(self, attributes: Attributes) -> None:
        self.seen_model = True
        unit = attributes.get("unit", "millimeter")
        if unit not in _UNITS:
            raise rejected("bad_unit", unit=unit[:20])
        self.model.unit = _UNITS[unit]
        for prefix in attributes.get("requiredextensions", "").split():
            uri = self._prefixes.get(prefix, "unknown")
            if uri not in _HARMLESS:
                raise rejected("needs_extension", name=prefix[:20])

    def _start_build(self, _: Attributes) -> None:
        self.end_object()

    def _start_object(self, attributes: Attributes) -> None:
        self.end_object()
        self._convert()
        self._object_id = attributes["id"]
        self._object = ModelObject(kind=attributes.get("type", "model"))
        self._corners, self._faces = array("d"), array("q")

    def collected(self, chunks: Iterable[bytes]) -> Iterator[bytes]:
        """Pass the chunks on; after each, turn what was collected from it into numbers and count."""
        for chunk in chunks:
            yield chunk
            self._convert()

    def _convert(self) -> None:
        self._corners.extend(map(float, _values(self._corner_words, _PLACE_NAMES)))
        self._faces.extend(map(int, _values(self._face_words, _INDEX_NAMES)))
        self._corner_count += len(self._corner_words) // 6
        self._face_count += len(self._face_words) // 6
        self._corner_words.clear()
        self._face_words.clear()
        if self._face_count > MAX_FACES:
            raise rejected("too_many_faces", faces=f"more than {MAX_FACES}", limit=MAX_FACES)
        if self._corner_count > _CORNERS_MAX:
            raise rejected("too_many_corners", limit=_CORNERS_MAX)

    def _component(self, attributes: Attributes) -> None:
        if self._object is not None:
            self._object.uses.append(self._use(attributes))

    def _item(self, attributes: Attributes) -> None:
        self.model.items.append(self._use(attributes))

    def _use(self, attributes: Attributes) -> Use:
        self._use_count += 1
        if self._use_count > MAX_COPIES:
            raise rejected("too_many_copies", copies=f"more than {MAX_COPIES}", limit=MAX_COPIES)
        matrix = _matrix(attributes.get("transform"))
        return Use(attributes["objectid"], attributes.get(f"{PRODUCTION} path"), matrix)

    def end_object(self) -> None:
        """Take up the object read so far. Called where the next thing starts: a handler for the end of elements would
        run once for every corner and face."""
        if self._object is None:
            return
        self._convert()
        vertices = np.array(self._corners, np.float64).reshape(-1, 3)
        triangles = np.array(self._faces, np.int64).reshape(-1, 3)
        if triangles.size and not 0 <= triangles.min() <= triangles.max() < len(vertices):
            worst = int(triangles.min() if triangles.min() < 0 else triangles.max())
            raise rejected("bad_index", index=worst, corners=len(vertices))
        self._object.vertices = vertices
        self._object.triangles = triangles.astype(np.int32)
        if self._object_id in self.model.objects:
            raise rejected("xml_broken", found=told("two parts have the number {number}", number=self._object_id[:20]))
        self.model.objects[self._object_id] = self._object
        self._object = None


def _in_order(listed: list[str], names: list[str]) -> list[str]:
    """Names and values of just these attributes, in this order."""
    attributes = _named(listed)
    return [word for name in names for word in (name, attributes[name])]


def _values(words: list[str], names: list[str]) -> list[str]:
    """The values from a run of names and values that should repeat these names."""
    if words[::2] == names * (len(words) // 6):
        return words[1::2]
    elements = (words[i : i + 6] for i in range(0, len(words), 6))
    return [word for element in elements for word in _in_order(element, names)[1::2]]


def _matrix(text: str | None) -> FloatArray:
    """The (4, 3) matrix of a transform attribute: twelve numbers, row by row."""
    if text is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    try:
        numbers = np.array([float(word) for word in text.split()])
    except ValueError as error:
        raise rejected("bad_transform") from error
    if numbers.size != 12 or not np.isfinite(numbers).all() or np.abs(numbers).max() > 1e9:
        raise rejected("bad_transform")
    matrix: FloatArray = numbers.reshape(4, 3)
    if np.linalg.det(matrix[:3]) == 0:
        raise rejected("bad_transform")
    return matrix
